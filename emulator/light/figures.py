"""Figures of a cover: luminance, uniformity within a cell, cross-talk."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from emulator.arrays import Floats
from emulator.description.display import Display
from emulator.light import eye
from emulator.light.cover import Axis, Spot, axes
from emulator.light.front import crosstalk, every_led, over_opening, with_cover
from emulator.light.primaries import chip_primaries
from emulator.light.sampling import samples_between

_RISE = 0.01  # of min/mean, which reports show with two digits
EVEN = 0.8  # from this min/mean on nobody notices a hot spot: our choice, no source


@dataclass(frozen=True)
class Figures:
    """Figures of a fully lit wall at full white, in a cell with neighbours on all sides.

    Full white is what a white picture shows: only W for an RGBW chip.

    Luminance in cd/m², without ambient light: `peak` is the brightest point of the front, `mean`
    is over the whole cell, `ambient` is what ambient light adds everywhere; `all_channels` is the
    peak with every channel at full drive, more than white for an RGBW chip. min_to_mean and
    min_to_max: of the light that leaves an opening, on the front itself (`front`).
    seen_min_to_mean: of a whole cell with its walls, as the eye sees it from the distance: with
    dark walls 0 from close by, 1 from where the cells fuse. crosstalk: mean luminance of the
    dark cell next to a single lit one, divided by that of the lit one, on the front itself,
    without the eye's blur. The names of lengths have their units.
    """

    distance_m: float
    ambient_lx: float
    peak_cdm2: float
    all_channels_cdm2: float
    mean_cdm2: float
    ambient_cdm2: float
    min_to_mean: float
    min_to_max: float
    seen_min_to_mean: float
    crosstalk: float
    letter_mm: float
    letter_cells: int
    fusing_m: float


def figures(
    display: Display, distance_m: float | None = None, ambient_lx: float | None = None
) -> Figures:
    """The figures of a display, from a distance and in ambient light; default: its own [view]."""
    distance = display.view.distance_m if distance_m is None else distance_m
    around = display.view.ambient_lx if ambient_lx is None else ambient_lx
    spot = Spot.before(display, eye.blur_mm(distance))
    across, down = axes(display)
    primaries = chip_primaries(display.chip)
    unit = eye.luminance_cdm2(primaries.intensity_cd, display.cover.transmission)
    all_to_white = float(primaries.xyz[:, 1].sum()) / primaries.intensity_cd
    front = over_opening(display)
    least, mean, peak = (unit * lux for lux in _cell_lit(spot, across, down))
    letter_mm = eye.letter_height_mm(distance, down.pitch_mm)
    return Figures(
        distance_m=distance,
        ambient_lx=around,
        peak_cdm2=peak,
        all_channels_cdm2=peak * all_to_white,
        mean_cdm2=mean,
        ambient_cdm2=eye.ambient_cdm2(display.cover, around),
        min_to_mean=front.min_to_mean,
        min_to_max=front.min_to_max,
        seen_min_to_mean=least / mean,
        crosstalk=crosstalk(display),
        letter_mm=letter_mm,
        letter_cells=int(np.ceil(letter_mm / down.pitch_mm - 1e-9)),
        fusing_m=eye.fusing_distance_m(max(across.pitch_mm, down.pitch_mm)),
    )


def by_depth(display: Display, depths_mm: Floats) -> tuple[Floats, Floats]:
    """(min/mean, cross-talk), each (D,), of the display with covers of these depths (D,)."""
    each = [with_cover(display, depth_mm=float(depth)) for depth in depths_mm]
    return (
        np.array([over_opening(deep).min_to_mean for deep in each]),
        np.array([crosstalk(deep) for deep in each]),
    )


def even_depth_mm(display: Display, even: float = EVEN) -> float | None:
    """The least depth whose min/mean is at least `even`; None if 4 pitches are not enough.

    Found by bisection, since a deeper cover is more even.
    """
    high = 4 * max(display.grid.pitches_mm)
    low = high / 100

    def enough(depth_mm: float) -> bool:
        return over_opening(with_cover(display, depth_mm=depth_mm)).min_to_mean >= even

    if not enough(high):
        return None
    while high > 1.005 * low:
        middle = math.sqrt(low * high)
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high


def knee(x: Floats, y: Floats) -> int | None:
    """Index where a rising curve (P,) bends over: furthest above the chord between its ends.

    Both axes are scaled to 0…1 first. None if the curve (of min/mean) rises by less than 0.01: then
    the bend does not help a builder, or it is noise.
    """
    if y[-1] - y[0] < _RISE:
        return None
    return int(np.argmax((y - y[0]) / (y[-1] - y[0]) - (x - x[0]) / (x[-1] - x[0])))


def _cell_lit(spot: Spot, across: Axis, down: Axis) -> tuple[float, float, float]:
    """Least, mean and most lux per candela over one whole cell, all LEDs lit."""
    profiles, weights = [], []
    for axis in (across, down):
        at, weight = samples_between(spot, axis, axis.pitch_mm * np.array([-0.5, 0.5]))
        profiles.append(every_led(spot, axis, at))
        weights.append(weight / axis.pitch_mm)
    light: Floats = (profiles[1] * spot.weight) @ profiles[0].T
    return float(light.min()), float(weights[1] @ light @ weights[0]), float(light.max())
