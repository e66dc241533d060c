"""The way of a wire on the board: along rows and columns, round what is in between.

All in mm. The shortest way of right angles between two points round rectangles goes along lines
through the points and the rectangles' edges (Hanan's grid: M. Hanan 1966, SIAM J. Appl. Math. 14;
for obstacles: de Rezende, Lee, Wu 1989). So a search of that grid finds it.
"""

from __future__ import annotations

import heapq
from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

Way = tuple[tuple[float, float], ...]

CLEARANCE_MM = 5.0  # between a wire and what it goes round: own figure
_TURN_MM = 1.0  # how much longer a way may be to save a turn


class Rectangle(NamedTuple):
    """What wires go round: its edges, in mm."""

    left: float
    top: float
    right: float
    bottom: float
    name: str = ""

    def holds(self, x: float, y: float) -> bool:
        """Whether a point is inside; an edge is not."""
        return self.left < x < self.right and self.top < y < self.bottom

    def cuts(self, a: tuple[float, float], b: tuple[float, float]) -> bool:
        """Whether a line along a row or a column passes through the inside."""
        return (
            min(a[0], b[0]) < self.right
            and max(a[0], b[0]) > self.left
            and min(a[1], b[1]) < self.bottom
            and max(a[1], b[1]) > self.top
        )

    def wider(self, mm: float) -> Rectangle:
        """With `mm` more on each side."""
        return Rectangle(
            self.left - mm, self.top - mm, self.right + mm, self.bottom + mm, self.name
        )


def length_mm(way: Way) -> float:
    """Length of a way. [mm]"""
    return sum(abs(a[0] - b[0]) + abs(a[1] - b[1]) for a, b in pairwise(way))


def route(
    a: tuple[float, float], b: tuple[float, float], obstacles: Sequence[Rectangle] = ()
) -> Way:
    """The shortest way of right angles from `a` to `b` round the obstacles; corners, ends included.

    An obstacle that holds an end is not gone round.
    """
    met = [o for o in obstacles if not (o.holds(*a) or o.holds(*b))]
    wide = [o.wider(CLEARANCE_MM) for o in met]
    around = [o if w.holds(*a) or w.holds(*b) else w for o, w in zip(met, wide, strict=True)]
    for corner in ((b[0], a[1]), (a[0], b[1])):
        way = _straightened((a, corner, b))
        if not any(o.cuts(*leg) for o in around for leg in pairwise(way)):
            return way
    return _searched(a, b, around)


def _searched(a: tuple[float, float], b: tuple[float, float], around: list[Rectangle]) -> Way:
    xs = sorted({a[0], b[0], *(x for o in around for x in (o.left, o.right))})
    ys = sorted({a[1], b[1], *(y for o in around for y in (o.top, o.bottom))})
    start, goal = (xs.index(a[0]), ys.index(a[1])), (xs.index(b[0]), ys.index(b[1]))
    best: dict[tuple[int, int, int], float] = {}
    queue: list[tuple[float, tuple[int, int, int], tuple[tuple[int, int], ...]]] = [
        (0.0, (*start, -1), (start,))
    ]
    while queue:
        cost, (i, j, heading), way = heapq.heappop(queue)
        if (i, j) == goal:
            return _straightened(tuple((xs[p], ys[q]) for p, q in way))
        if best.get((i, j, heading), float("inf")) <= cost:
            continue
        best[i, j, heading] = cost
        for di, dj in ((1, 0), (-1, 0), (0, 1), (0, -1)):
            p, q = i + di, j + dj
            if not (0 <= p < len(xs) and 0 <= q < len(ys)):
                continue
            here, there = (xs[i], ys[j]), (xs[p], ys[q])
            if any(o.cuts(here, there) for o in around):
                continue
            turn = _TURN_MM if heading not in (-1, abs(dj)) else 0.0
            more = abs(here[0] - there[0]) + abs(here[1] - there[1]) + turn
            heapq.heappush(queue, (cost + more, (p, q, abs(dj)), (*way, (p, q))))
    return _straightened((a, (b[0], a[1]), b))  # shut in by obstacles: straight on


def _straightened(way: Way) -> Way:
    """Without points that are twice or between two others on one straight line."""
    kept: list[tuple[float, float]] = []
    for point in way:
        if kept and point == kept[-1]:
            continue
        if len(kept) > 1 and any(kept[-2][k] == kept[-1][k] == point[k] for k in (0, 1)):
            kept.pop()
        kept.append(point)
    return tuple(kept)
