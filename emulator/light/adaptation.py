"""The luminance that an adapted eye in a dark room takes for white.

At night the eye adapts to the mean of all that it sees: the wall and the dark around it. From far
away the wall is a small bright patch and glares; from close by it fills the field and looks calm.
Twice as much light everywhere looks the same once the eye has adapted.

What is brighter than that white is not cut off: the eye's response bends over, each colour as a
whole, as in Reinhard, Stark, Shirley & Ferwerda, Photographic Tone Reproduction for Digital Images
(SIGGRAPH 2002, from memory), who also let the mean come out a middle grey of 0.18.

Left out: the veil that glare lays over the picture within the eye (CIE 146), and the loss of
colour below about 5 cd/m²: what is lit on a wall of LEDs lies above that.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from emulator.description.display import Display

# The field whose mean the eye is used to: the 20° cone in front of a tunnel's mouth, over which
# road lighting takes its access-zone luminance L20 (CIE 88:2004, from memory).
FIELD_DEG = 20.0
# The share of white that the mean looks like: Reinhard et al., their key a.
MIDDLE_GREY = 0.18
# Below it only the rods see (CIE 191:2010, end of the mesopic range, from memory); a dark room.
LEAST_CDM2 = 0.005
# Cones take minutes to grow used to the dark (from memory). This lets the view follow the show,
# slowly enough not to breathe with it: our choice.
SETTLING_NS = 2_000_000_000


def share_of_field(display: Display, distance_m: float) -> float:
    """How much of the field the wall fills, 0…1, seen square on its middle from a distance.

    The solid angle of a rectangle a × b at a distance d is 4·arcsin(ab / √((a²+4d²)(b²+4d²))), that
    of a cone 2π(1 − cos of half its angle). What of a long wall lies beyond the cone is left out.
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
    """An eye in a dark room that follows what a wall shows.

    share: how much of its field the wall fills (`share_of_field`), the rest is dark.
    most_cdm2: what it takes for white at most: the wall's own full white.
    """

    def __init__(self, share: float, most_cdm2: float) -> None:
        self._share, self._most_cdm2 = share, most_cdm2
        self._used_to: float | None = None  # log of cd/m²
        self._time_ns = 0

    def white_cdm2(self, mean_cdm2: float, time_ns: int) -> float:
        """The luminance taken for white at a time, from the wall's mean luminance in cd/m².

        Calls follow in time; the first, and one from an earlier time, finds the eye used to what
        it sees. The logarithm follows exponentially, by 1 − 1/e within SETTLING_NS.
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
    """What an eye makes of light (…, 3), 1 is full drive, where 1/gain looks white; times gain.

    Reinhard et al., eq. 4: with x = gain · light and full drive at w = gain, x(1 + x/w²)/(1 + x).
    Of the strongest channel; the others keep their ratio to it, and so the hue. Faint light comes
    out gain times as strong, full drive as 1.
    """
    strongest = gain * light.max(axis=-1, keepdims=True)
    seen: NDArray[np.float32] = gain * light * (1 + strongest / gain**2) / (1 + strongest)
    return seen
