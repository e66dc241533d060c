"""Where the light on an axis of the front is sampled: points and weights for its mean.

The points are close together where the light changes fast, in front of the LED and at the walls,
and far apart elsewhere. So they suit every depth and every width of a cell.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from emulator.arrays import Floats
from emulator.light.cover import Axis, Spot, gauss

_POINTS = 6  # of Gauss's rule, in each stretch


def samples_between(spot: Spot, axis: Axis, bounds_mm: ArrayLike) -> tuple[Floats, Floats]:
    """Points (P,) in order between the first and the last of bounds, and weights (P,) in mm.

    bounds_mm: in order, from the middle of the LED's cell. The points include the bounds, the
    middles of its LEDs and the edges of the opening with a weight of 0, for the least and the most.
    """
    bounds = _stretches(spot, axis, np.asarray(bounds_mm, dtype=np.float64))
    parts = [gauss(bounds[i : i + 2], _POINTS) for i in range(len(bounds) - 1)]
    at = np.concatenate([bounds, *(points for points, _ in parts)])
    weight = np.concatenate([np.zeros(len(bounds)), *(weights for _, weights in parts)])
    order = np.argsort(at)
    return at[order], weight[order]


def _stretches(spot: Spot, axis: Axis, bounds_mm: Floats) -> Floats:
    """Bounds of stretches in which the light changes little, with the given bounds."""
    fine = float(np.hypot(spot.depth_mm, spot.blur_mm)) / 2
    wide = float(np.abs(bounds_mm[:, None] - axis.leds_mm).max())
    steps = fine * 2.0 ** np.arange(np.ceil(np.log2(max(wide / fine, 1.0))) + 1)
    # The edges of an LED show only if the front is near.
    ends = np.array([-1.0, 0.0, 1.0]) if spot.emitter_mm > 2 * fine else np.zeros(1)
    led = (axis.leds_mm[:, None] + spot.emitter_mm / 2 * ends).ravel()
    others = (led[:, None] + np.concatenate([[0.0], steps, -steps])).ravel()
    closest = fine / 50
    if axis.opening_mm is not None and spot.blur_mm:
        edges = axis.opening_mm / 2 + spot.blur_mm * np.array([-4.0, -2, -1, 0, 1, 2, 4])
        others = np.concatenate([others, edges, -edges])
        closest = min(closest, spot.blur_mm / 50)
    others = np.unique(others)
    others = others[(others > bounds_mm[0]) & (others < bounds_mm[-1])]
    others = others[np.abs(others[:, None] - bounds_mm).min(axis=1, initial=np.inf) > closest]
    kept = others[np.diff(others, prepend=-np.inf) > closest]  # of closer ones, keep one
    return np.sort(np.concatenate([bounds_mm, kept]))
