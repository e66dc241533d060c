"""How a wall is viewed: distance, ambient light, exposure and colours."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Look:
    """What turns luminance on the front into the codes of an sRGB screen.

    distance_m: from the eye to the front; None takes the display file's. ambient_lx: light of the
    surroundings on the front; 0 is a dark room. white_cdm2: the luminance shown as the screen's
    white; None takes that of the brightest spot of the wall at full white, ambient light included.
    led_colours: show the colours of the LEDs' own wavelengths, to an eye that takes the wall's
    full white for white; False shows the colours the picture means.
    """

    distance_m: float | None = None
    ambient_lx: float = 0.0
    white_cdm2: float | None = None
    led_colours: bool = False
