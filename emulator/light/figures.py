"""What a cover does, in figures: luminance, uniformity within a cell, cross-talk."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from emulator.description.display import Display
from emulator.light import eye
from emulator.light.cover import Axis, Spot, axes
from emulator.light.primaries import chip_primaries

Floats = NDArray[np.float64]

_SAMPLES = 48  # of a cell, each way
_RISE = 0.01  # of min/mean, which is told to two digits
_EVEN = 0.8  # min/mean from which no hot spot is seen as one: our choice, no source


@dataclass(frozen=True)
class Figures:
    """A wall lit all over at full white, in a cell with neighbours all round, as the eye sees it.

    Full white is what a white picture shows: of an RGBW chip W alone.

    Luminance in cd/m², without ambient light: `peak` is the brightest point of the front, `mean`
    over the whole cell, `ambient` what the light around adds everywhere; `all_channels` is the
    peak with every channel at full drive, for an RGBW chip more than white. min_to_mean and
    min_to_max: over the opening of a cell, of the middles of 48 × 48 parts. Nearer still to
    its edge the eye's blur mixes in more of the dark wall; that rim of less light, half a part
    wide, is not counted. crosstalk: mean luminance of the dark cell
    beside a single lit one, relative to that one, on the front itself, without the eye's blur.
    Lengths in the unit named.
    """

    distance_m: float
    ambient_lx: float
    peak_cdm2: float
    all_channels_cdm2: float
    mean_cdm2: float
    ambient_cdm2: float
    min_to_mean: float
    min_to_max: float
    crosstalk: float
    letter_mm: float
    letter_cells: int
    fusing_m: float


def figures(
    display: Display, distance_m: float | None = None, ambient_lx: float | None = None
) -> Figures:
    """The figures of a display, at its own [view] where no other is given."""
    distance = display.view.distance_m if distance_m is None else distance_m
    around = display.view.ambient_lx if ambient_lx is None else ambient_lx
    spot = Spot.before(display, eye.blur_mm(distance))
    across, down = axes(display)
    primaries = chip_primaries(display.chip)
    unit = eye.luminance_cdm2(primaries.intensity_cd, display.cover.transmission)
    all_to_white = float(primaries.xyz[:, 1].sum()) / primaries.intensity_cd
    opening = unit * _all_lit(spot, across, down, whole=False)
    mean = float(unit * _all_lit(spot, across, down, whole=True).mean())
    letter_mm = eye.letter_height_mm(distance, down.pitch_mm)
    return Figures(
        distance_m=distance,
        ambient_lx=around,
        peak_cdm2=float(opening.max()),
        all_channels_cdm2=float(opening.max()) * all_to_white,
        mean_cdm2=mean,
        ambient_cdm2=eye.ambient_cdm2(display.cover, around),
        min_to_mean=float(opening.min() / opening.mean()),
        min_to_max=float(opening.min() / opening.max()),
        crosstalk=_crosstalk(Spot.before(display), across, down),
        letter_mm=letter_mm,
        letter_cells=int(np.ceil(letter_mm / down.pitch_mm - 1e-9)),
        fusing_m=eye.fusing_distance_m(max(across.pitch_mm, down.pitch_mm)),
    )


def with_cover(display: Display, **changes: Any) -> Display:
    """The display with other figures of its cover, such as depth_mm=12."""
    return replace(display, cover=display.cover.model_copy(update=changes))


def by_depth(
    display: Display, depths_mm: Floats, distance_m: float | None = None
) -> tuple[Floats, Floats]:
    """(min/mean, cross-talk), each (D,), of the display with covers of those depths (D,)."""
    each = [figures(with_cover(display, depth_mm=float(d)), distance_m) for d in depths_mm]
    return (
        np.array([f.min_to_mean for f in each]),
        np.array([f.crosstalk for f in each]),
    )


def even_depth_mm(
    display: Display, distance_m: float | None = None, even: float = _EVEN
) -> float | None:
    """The least depth whose min/mean is at least `even`; None where 4 pitches do not reach it.

    Found by halving: deeper is taken to be more even.
    """
    high = 4 * max(display.grid.pitches_mm)
    low = high / 100

    def enough(depth_mm: float) -> bool:
        return figures(with_cover(display, depth_mm=depth_mm), distance_m).min_to_mean >= even

    if not enough(high):
        return None
    while high > 1.005 * low:
        middle = math.sqrt(low * high)
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high


def knee(x: Floats, y: Floats) -> int | None:
    """Index where a rising curve bends over: furthest above the chord between its ends.

    Both axes are scaled to 0…1 first. None on a curve (of min/mean) that rises by less than 0.01:
    where it bends is then of no use to a builder, or noise.
    """
    if y[-1] - y[0] < _RISE:
        return None
    return int(np.argmax((y - y[0]) / (y[-1] - y[0]) - (x - x[0]) / (x[-1] - x[0])))


def _all_lit(spot: Spot, across: Axis, down: Axis, *, whole: bool) -> Floats:
    """Lux per candela (y, x) over one cell's opening, or the whole cell, all LEDs lit."""
    sums = []
    for axis in (across, down):
        side = axis.pitch_mm if whole else axis.opening_mm or axis.pitch_mm
        at = _middles(side)
        count = int(np.ceil((spot.reach_mm(axis) + side / 2) / axis.pitch_mm))
        neighbours = axis.pitch_mm * np.arange(-count, count + 1)
        sums.append(spot.profiles(at[:, None] - neighbours, axis).sum(axis=1))
    light: Floats = (sums[1] * spot.weight) @ sums[0].T
    return light


def _crosstalk(spot: Spot, across: Axis, down: Axis) -> float:
    """Mean light of the cell beside a lit one, the nearer way, relative to the lit cell's own."""
    own, beside = [], []
    for axis in (across, down):
        at = _middles(axis.pitch_mm)
        own.append(spot.profiles(at, axis).mean(axis=0))
        beside.append(spot.profiles(at + axis.pitch_mm, axis).mean(axis=0))
    lit = spot.weight @ (own[0] * own[1])
    leaks = (spot.weight @ (beside[0] * own[1]), spot.weight @ (own[0] * beside[1]))
    return float(max(leaks) / lit)


def _middles(side_mm: float) -> Floats:
    """Middles of equal parts of a side, centred on 0."""
    return side_mm * ((np.arange(_SAMPLES) + 0.5) / _SAMPLES - 0.5)
