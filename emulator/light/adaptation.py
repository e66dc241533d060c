"""The luminance that an adapted eye in a dark room takes for white.

At night the eye adapts to the mean of all that it sees: the wall and the dark around it. From far
away the wall is a small bright patch and glares; from close by it fills the field and looks calm.
Twice as much light everywhere looks the same once the eye has adapted.

Light brighter than that white is not cut off: the eye's response bends over, each colour as a
whole, as in Reinhard, Stark, Shirley & Ferwerda, Photographic Tone Reproduction for Digital Images
(SIGGRAPH 2002, from memory). The mean is shown as a middle grey of 0.18, also as there.

Not modelled: the veil of glare within the eye (CIE 146), and the loss of colour below about
5 cd/m²: the lit parts of a wall of LEDs are brighter than that.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from emulator.description.display import Display

# The field to whose mean the eye adapts: a cone of 20°, over which road lighting measures the
# luminance L20 of a tunnel's access zone (CIE 88:2004, from memory).
FIELD_DEG = 20.0
# The mean looks like this share of white: Reinhard et al., their key a.
MIDDLE_GREY = 0.18
# Below this only the rods see (CIE 191:2010, end of the mesopic range, from memory): a dark room.
LEAST_CDM2 = 0.005
# Cones take minutes to adapt to the dark (from memory). With this time the view follows the show,
# but too slowly to pump with it: our choice.
SETTLING_NS = 2_000_000_000


def share_of_field(display: Display, distance_m: float) -> float:
    """Share 0…1 of the field that the wall fills, for an eye straight in front of its middle.

    A rectangle a × b at a distance d has the solid angle 4·arcsin(ab / √((a²+4d²)(b²+4d²))), a cone
    2π(1 − cos of half its angle). The part of a long wall that is outside the cone is not counted.
    """
    grid = display.grid
    across_mm, down_mm = grid.pitches_mm
    half = math.radians(FIELD_DEG / 2)
    twice = 2 * distance_m
    widest = twice * math.tan(half)
    a, b = (min(side / 1000, widest) for side in (grid.columns * across_mm, grid.rows * down_mm))
    wall = 4 * math.asin(a * b / math.sqrt((a * a + twice * twice) * (b * b + twice * twice)))
    return min(wall / (2 * math.pi * (1 - math.cos(half))), 1.0)


class DarkEye:
    """An eye in a dark room that adapts to what a wall shows.

    share: how much of its field the wall fills (`share_of_field`); the rest is dark.
    most_cdm2: the highest luminance that it takes for white: the wall's own full white.
    """

    def __init__(self, share: float, most_cdm2: float) -> None:
        self._share, self._most_cdm2 = share, most_cdm2
        self._used_to: float | None = None  # log of cd/m²
        self._time_ns = 0

    def white_cdm2(self, mean_cdm2: float, time_ns: int) -> float:
        """The luminance taken for white at a time, from the wall's mean luminance in cd/m².

        Call it in the order of time. At the first call, and at one with an earlier time, the eye is
        fully adapted. Then the logarithm follows exponentially, by 1 − 1/e within SETTLING_NS.
        """
        sees = math.log(max(mean_cdm2 * self._share, LEAST_CDM2))
        passed_ns = time_ns - self._time_ns
        if self._used_to is None or passed_ns < 0:
            self._used_to = sees
        else:
            self._used_to += (sees - self._used_to) * -math.expm1(-passed_ns / SETTLING_NS)
        self._time_ns = time_ns
        return min(math.exp(self._used_to) / MIDDLE_GREY, self._most_cdm2)


def response(light: NDArray[np.float32], gain: float) -> NDArray[np.float32]:
    """An eye's response (…, 3) to linear light (…, 3), of which 1/gain looks white.

    Reinhard et al., eq. 4: with x = gain · light and full drive at w = gain, x(1 + x/w²)/(1 + x).
    This is for the strongest channel; the others keep their ratio to it, so the hue stays. Faint
    light becomes gain times as strong, full drive (1) becomes 1.
    """
    strongest = gain * light.max(axis=-1, keepdims=True)
    seen: NDArray[np.float32] = gain * light * (1 + strongest / gain**2) / (1 + strongest)
    return seen
