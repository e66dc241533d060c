"""How a wall is viewed: distance, ambient light, exposure and colours."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Look:
    """How luminance on the front becomes code values of an sRGB screen.

    distance_m: from the eye to the front; None: that of the display file. ambient_lx: light of the
    surroundings on the front; 0 is a dark room. white_cdm2: the luminance shown as the screen's
    white; None: that of the brightest spot of the wall at full white, with ambient light.
    led_colours: show the colours of the LEDs' own wavelengths, for an eye that takes the wall's
    full white for white; False: the colours that the picture means.
    """

    distance_m: float | None = None
    ambient_lx: float = 0.0
    white_cdm2: float | None = None
    led_colours: bool = False
