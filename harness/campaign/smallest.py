"""The fewest patterns that show all faults, or that tell all of them apart.

Both are hitting sets: of each row of patterns at least one must be chosen. `scipy.optimize.milp`
finds the smallest [1]. To tell apart, each pair of walls is a row. There are too many pairs, so
only those are given that the last choice left alike, until none is.

[1] HiGHS, branch and cut: Huangfu and Hall, Mathematical Programming Computation 10, 2018.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bools, Floats

MOST_EXACT = 64  # patterns; above that the choice is greedy
_NEW_PAIRS = 256  # at a time


@dataclass(frozen=True)
class Smallest:
    """Numbers of the patterns chosen. exact: none smaller exists. at_most: else it has at most so
    many times the patterns of the smallest one."""

    patterns: tuple[int, ...]
    exact: bool
    at_most: float


def hitting(rows: Bools, costs: Floats) -> Smallest:
    """The fewest columns of which each row (R, P) has at least one; the cheapest of these.

    costs: (P,) above 0, such as seconds; they decide only between sets of one size. Each row must
    have a column. With more than MOST_EXACT columns it takes the one that hits most rows left, time
    after time: at most 1 + ln d times the smallest set, where d is the most rows that one column
    hits (Chvátal, Mathematics of Operations Research 4, 1979).
    """
    rows = np.unique(rows, axis=0)
    if not len(rows):
        return Smallest((), True, 1.0)
    if rows.shape[1] > MOST_EXACT:
        return _greedy(rows, costs)
    # Imported here: of the extra `campaign`, and slow to load.
    from scipy.optimize import Bounds, LinearConstraint, milp

    once = 1 + costs / (2 * costs.sum())  # all costs together count half a pattern
    found = milp(
        once, integrality=np.ones(len(costs)), bounds=Bounds(0, 1),
        constraints=LinearConstraint(rows.astype(np.float64), lb=1),
        options={"mip_rel_gap": 0.0},
    )  # fmt: skip
    return Smallest(tuple(np.flatnonzero(found.x > 0.5).tolist()), True, 1.0)


def telling_apart(signatures: NDArray[np.uint64], costs: Floats) -> Smallest:
    """The fewest patterns that tell apart all that all patterns together tell apart.

    signatures: (F, P) of each wall under each pattern.
    """
    walls = np.unique(signatures, axis=0)
    rows = np.zeros((0, walls.shape[1]), dtype=np.bool_)
    while True:
        chosen = hitting(rows, costs)
        alike = _still_alike(walls, chosen.patterns)
        if not len(alike):
            return chosen
        rows = np.concatenate([rows, alike])


def _still_alike(walls: NDArray[np.uint64], chosen: Sequence[int]) -> Bools:
    """Rows (R, P): the patterns that tell apart two walls which the chosen ones do not."""
    group = np.zeros(len(walls), dtype=np.int64)
    if chosen:
        group = np.unique(walls[:, list(chosen)], axis=0, return_inverse=True)[1].ravel()
    order = np.argsort(group, kind="stable")
    same = np.flatnonzero(np.diff(group[order]) == 0)
    rows = np.unique(walls[order[same]] != walls[order[same + 1]], axis=0)
    return rows[np.argsort(rows.sum(axis=1), kind="stable")][:_NEW_PAIRS]


def _greedy(rows: Bools, costs: Floats) -> Smallest:
    bound = 1 + math.log(int(rows.sum(axis=0).max()))
    chosen: list[int] = []
    while len(rows):
        hits = rows.sum(axis=0)
        best = int(np.lexsort((costs, -hits))[0])
        chosen.append(best)
        rows = rows[~rows[:, best]]
    return Smallest(tuple(sorted(chosen)), False, bound)
