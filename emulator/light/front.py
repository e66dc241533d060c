"""The light on the front of one cell: evenness, cross-talk, effect of a strip off centre.

Lighting practice measures how even an area is by least / mean illuminance, U0, and least / most,
Ud, on the area itself (EN 12464-1:2021, from memory). Here the area is the luminous part: the
opening between walls, or the whole cell without walls. The eye's blur does not count. Between walls
the front's own scatter does not count either: near the edge both would mix in the dark wall, which
is not part of the opening. So deeper covers and smaller openings are more even. Without walls the
scatter counts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from emulator.arrays import Floats
from emulator.description.display import Display
from emulator.light.cover import Axis, Spot, axes, erf
from emulator.light.sampling import samples_between

KEPT = 0.9  # the tolerance keeps this share of the centred strip's min/mean: our choice
_NO_SPOT = 0.95  # from this min/max on a spot has no clear place: our choice


@dataclass(frozen=True)
class Front:
    """Light on the front over one cell's opening, every LED lit, in lux for LEDs of one candela.

    spot_mm: the brightest point, right of and below the middle of the cell.
    """

    least: float
    mean: float
    most: float
    spot_mm: tuple[float, float]

    @property
    def min_to_mean(self) -> float:
        """Least over mean, U0 (EN 12464-1:2021, from memory)."""
        return self.least / self.mean

    @property
    def min_to_max(self) -> float:
        """Least over most, Ud (EN 12464-1:2021, from memory)."""
        return self.least / self.most


@dataclass(frozen=True)
class OffCentre:
    """A cell whose strip is off its middle.

    off_mm: how far. min_to_mean: as in `Front`. spot_mm: distance of the brightest point from the
    middle; None if the cell is so even (min/max 0.95) that there is no visible spot.
    """

    off_mm: float
    min_to_mean: float
    spot_mm: float | None


def with_cover(display: Display, **changes: Any) -> Display:
    """The display with other values in its `[cover]`, such as depth_mm=12."""
    return replace(display, cover=display.cover.model_copy(update=changes))


def over_opening(display: Display) -> Front:
    """The light on the front over an opening; without walls, over the cell around an LED."""
    spot, both = Spot.before(display), axes(display)
    if display.cover.walls != "none":
        spot = replace(spot, blur_mm=0.0)
    (x, across, wide), (y, down, high) = (_all_lit(spot, axis) for axis in both)
    light = (down * spot.weight) @ across.T
    row, column = np.unravel_index(int(light.argmax()), light.shape)
    spot_mm = _vertex(x, light[row], int(column)), _vertex(y, light[:, column], int(row))
    return Front(float(light.min()), float(high @ light @ wide), float(light.max()), spot_mm)


def crosstalk(display: Display) -> float:
    """Mean light of the cell next to a single lit cell, divided by that of the lit one.

    On the side that gets most; on the front, with its scatter.
    """
    spot = Spot.before(display)
    own, left, right = np.array([_cell_means(spot, axis) for axis in axes(display)]).swapaxes(0, 1)
    beside = [own[1] * side[0] for side in (left, right)] + [
        own[0] * side[1] for side in (left, right)
    ]
    return float(max(spot.weight @ light for light in beside) / (spot.weight @ (own[0] * own[1])))


def off_centre(display: Display, off_mm: float) -> OffCentre:
    """The cell with strips that far off the middle; the display's own value does not count."""
    front = over_opening(with_cover(display, off_centre_mm=off_mm))
    spot_mm = front.spot_mm[0 if display.wiring.along == "columns" else 1]
    return OffCentre(off_mm, front.min_to_mean, spot_mm if front.min_to_max < _NO_SPOT else None)


def widest_off_mm(display: Display) -> float:
    """How far off the middle a strip can be, in mm, with each LED wholly in its opening or cell."""
    across, down = axes(display)
    axis = across if display.wiring.along == "columns" else down
    return max((axis.opening_mm or axis.pitch_mm) - display.chip.emitter_mm, 0.0) / 2


def tolerance_mm(display: Display) -> float | None:
    """How far off the middle, in mm, a strip keeps 0.9 of the centred one's min/mean.

    To 0.1 % of the opening. None if it keeps that as far as `widest_off_mm`.
    """
    wanted = KEPT * off_centre(display, 0.0).min_to_mean
    low, high = 0.0, widest_off_mm(display)
    if off_centre(display, high).min_to_mean >= wanted:
        return None
    least = high / 1000
    while high - low > least:
        middle = (low + high) / 2
        kept = off_centre(display, middle).min_to_mean >= wanted
        low, high = (middle, high) if kept else (low, middle)
    return low


def every_led(spot: Spot, axis: Axis, at_mm: Floats) -> Floats:
    """f_k (P, K) of the LEDs of all cells on an endless axis, at places (P,), in mm from a middle.

    Without walls, the sum of Gaussians wider than 3/4 of a pitch is the same everywhere, within
    3e-5 (Poisson's sum formula).
    """
    if axis.opening_mm is None:
        width_mm = np.hypot(spot.sigma_mm, spot.blur_mm)
        near = width_mm < 0.75 * axis.pitch_mm
        light = np.tile(np.sqrt(2 * np.pi) * spot.sigma_mm / axis.pitch_mm, (len(at_mm), 1))
        part = replace(spot, sigma_mm=spot.sigma_mm[near], weight=spot.weight[near])
        reach_mm = 5.0 * float(width_mm[near].max(initial=0)) + spot.emitter_mm / 2
    else:
        near, part, reach_mm = np.full(len(spot.weight), True), spot, spot.reach_mm(axis)
        light = np.zeros((len(at_mm), len(spot.weight)))
    furthest_mm = float(np.abs(at_mm).max()) + float(np.abs(axis.leds_mm).max()) + reach_mm
    count = int(np.ceil(furthest_mm / axis.pitch_mm - 0.5 - 1e-9))
    away_mm = at_mm[:, None] - axis.pitch_mm * np.arange(-count, count + 1)
    light[:, near] = part.profiles(away_mm, axis).sum(axis=1)
    return light


def _cell_means(spot: Spot, axis: Axis) -> Floats:
    """Means (3, K) of one LED's f_k over its own cell, the cell before and the cell after it."""
    pitch_mm = axis.pitch_mm
    edges_mm = pitch_mm * np.array([-1.5, -0.5, 0.5, 1.5])
    if axis.opening_mm is None:
        at, weight = samples_between(spot, axis, edges_mm)
        below = np.where(edges_mm[:, None] > at, 0.5, -0.5)
        light = spot.profiles(at, axis)
    else:
        # A point of the opening scatters its light over the cells around it: a share to each.
        at, weight = samples_between(spot, axis, axis.opening_mm / 2 * np.array([-1, 1]))
        spread_mm = max(math.sqrt(2) * spot.blur_mm, 1e-12)
        below = erf((edges_mm[:, None] - at) / spread_mm) / 2
        light = replace(spot, blur_mm=0.0).profiles(at, axis)
    share = np.diff(below, axis=0) * weight / pitch_mm
    before, own, after = share @ light
    return np.stack([own, before, after])


def _all_lit(spot: Spot, axis: Axis) -> tuple[Floats, Floats, Floats]:
    """Points (P,) of the luminous part in order, f_k (P, K) of all LEDs there, and weights (P,).

    The weights are those of a mean. Without walls the cell is the one around the LED.
    """
    half = np.array([-0.5, 0.5])
    if axis.opening_mm is None:
        at, weight = samples_between(spot, axis, axis.off_mm + axis.pitch_mm * half)
        return at, every_led(spot, axis, at), weight / axis.pitch_mm
    # A point on a sharp edge belongs to two cells: between walls only the cell's own LED counts.
    at, weight = samples_between(spot, axis, axis.opening_mm * half)
    return at, spot.profiles(at, axis), weight / axis.opening_mm


def _vertex(x: Floats, y: Floats, top: int) -> float:
    """The highest point of a parabola through the topmost of points (P,) and its neighbours."""
    if not 0 < top < len(x) - 1:
        return float(x[top])
    left, right = x[top] - x[top - 1], x[top + 1] - x[top]
    fall, rise = (y[top] - y[top - 1]) / left, (y[top] - y[top + 1]) / right
    if fall + rise == 0:
        return float(x[top])
    return float(x[top] + (fall * right - rise * left) / (fall + rise) / 2)
