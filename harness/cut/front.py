"""The front as flat panels, split along the middles of walls, with the openings of gaps.

A panel reaches to the outer face of the wall at an edge of the grid and around a gap, and to the
middle of the wall where the next panel begins. The front covers the gap of the camera, with a round
opening in it; other gaps stay open.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from emulator.arrays import Bools, Floats
from emulator.description.camera import gap_middle_mm
from emulator.description.display import Display
from emulator.description.sections import Gap
from harness.cut.lattice import Walls
from harness.cut.shape import Corners, Hole, Shape, simplified

Seamless = tuple[frozenset[int], frozenset[int]]
Spans = tuple[tuple[int, int], ...]


@dataclass(frozen=True)
class Panel:
    """One panel: its columns and rows (first, end), its sides at the outside, its shape.

    The shape's origin is the lower left corner of the grid, seen from the front.
    """

    columns: tuple[int, int]
    rows: tuple[int, int]
    outer: tuple[bool, bool, bool, bool]  # left, right, top, bottom
    shape: Shape

    @property
    def form(self) -> str:
        """'corner', 'edge', 'inner' and so on, by its sides at the outside."""
        left, right, top, bottom = self.outer
        form = ("inner", "edge", "corner", "end", "whole")[sum(self.outer)]
        return "band" if (left and right) != (top and bottom) and sum(self.outer) == 2 else form


class Front:
    """The front of a display as material on a raster: two halves of each wall, and each opening.

    seamless: lines between columns, and between rows, where no seam should be; three choices, the
    best first. All have those through the camera's gap. The first also has those through other
    gaps and at their edges, where half a wall would be left as a thin strip; the second those
    through other gaps.
    """

    def __init__(self, display: Display, walls: tuple[Walls, Walls]) -> None:
        grid, (between_rows, between_columns) = display.grid, walls
        covered, camera = ~display.gap, display.camera
        covered_gaps = [] if camera is None else [grid.gaps[camera.gap]]
        open_gaps = [gap for gap in grid.gaps if gap not in covered_gaps]
        needed = _lines_in(covered_gaps)
        self.seamless = tuple(
            (needed[0] | wished[0], needed[1] | wished[1])
            for wished in (_lines_in(open_gaps, edges=1), _lines_in(open_gaps), _lines_in([]))
        )
        self._holes: tuple[Hole, ...] = ()
        height_mm = grid.rows * between_columns.pitch
        if camera is not None:
            gap = grid.gaps[camera.gap]
            right, low = gap.column + gap.columns, gap.row + gap.rows
            covered[gap.row : low, gap.column : right] = True
            x, y = gap_middle_mm(gap, grid)
            self._holes = (Hole(x, height_mm - y, camera.opening_mm),)
        self.material = np.zeros((3 * grid.rows + 2, 3 * grid.columns + 2), dtype=bool)
        for down in range(5):  # from the wall above each cell to the wall below it
            for across in range(5):
                rows = slice(down, down + 3 * grid.rows, 3)
                columns = slice(across, across + 3 * grid.columns, 3)
                self.material[rows, columns] |= covered
        none = display.cover.walls == "none"
        self._x = _lines(grid.columns, between_rows.pitch, 0 if none else between_rows.crossing)
        self._y = height_mm - _lines(
            grid.rows, between_columns.pitch, 0 if none else between_columns.crossing
        )

    def panels(self, columns: tuple[int, ...], rows: tuple[int, ...]) -> list[Panel]:
        """The panels of a split into so many columns and rows each; a panel can have parts."""
        found = []
        for top, bottom in _spans(rows):
            for left, right in _spans(columns):
                outer = left == 0, right == sum(columns), top == 0, bottom == sum(rows)
                first = (3 * top + (not outer[2]), 3 * left + (not outer[0]))
                end = (3 * bottom + 1 + outer[3], 3 * right + 1 + outer[1])
                found += [
                    Panel((left, right), (top, bottom), outer, shape)
                    for shape in self._shapes(first, end)
                ]
        return found

    def _shapes(self, first: tuple[int, int], end: tuple[int, int]) -> list[Shape]:
        """The connected pieces of material within a part of the raster."""
        raster = self.material[first[0] : end[0], first[1] : end[1]]
        x, y = self._x[first[1] : end[1] + 1], self._y[first[0] : end[0] + 1]
        shapes = []
        for part in _parts(raster):
            around = [
                simplified((float(x[c]), float(y[r])) for r, c in loop) for loop in _loops(part)
            ]
            outline = max(around, key=_width)
            openings = tuple(one for one in around if one is not outline)
            low, high = min(y), max(y)
            holes = tuple(h for h in self._holes if x[0] < h.x < x[-1] and low < h.y < high)
            shapes.append(Shape(outline, openings, holes))
        return shapes


def _lines_in(gaps: Sequence[Gap], edges: int = 0) -> Seamless:
    """Lines between columns and between rows that are inside gaps; with `edges` = 1 around them."""
    return (
        frozenset(n for g in gaps for n in _inside(g.column, g.columns, edges)),
        frozenset(n for g in gaps for n in _inside(g.row, g.rows, edges)),
    )


def _inside(first: int, count: int, edges: int) -> range:
    return range(first + 1 - edges, first + count + edges)


def _width(corners: Corners) -> float:
    x = [corner[0] for corner in corners]
    return max(x) - min(x)


def _lines(cells: int, pitch: float, thickness: float) -> Floats:
    """The raster's lines: outer face, middle and inner face of each wall."""
    middles = pitch * np.arange(cells + 1)
    return np.asarray((middles[:, None] + thickness / 2 * np.array([-1, 0, 1])).ravel())


def _spans(pieces: tuple[int, ...]) -> Spans:
    return tuple(pairwise(np.cumsum([0, *pieces]).tolist()))


def _parts(raster: Bools) -> list[Bools]:
    """The connected parts of a raster, each as a raster."""
    if raster.all():
        return [raster]
    left, found = raster.copy(), []
    while left.any():
        part = np.zeros_like(left)
        ways = [tuple(np.argwhere(left)[0].tolist())]
        while ways:
            row, column = ways.pop()
            if not (0 <= row < left.shape[0] and 0 <= column < left.shape[1]):
                continue
            if left[row, column]:
                left[row, column], part[row, column] = False, True
                ways += [(row + 1, column), (row - 1, column), (row, column + 1), (row, column - 1)]
        found.append(part)
    return found


def _loops(part: Bools) -> list[list[tuple[int, int]]]:
    """The ways around a connected part along the raster's lines, (row, column) of the corners.

    Rows count downwards. The material is always to the left. Two parts never touch at a corner
    only, since the walls around cells overlap there.
    """
    solid = np.pad(part, 1)
    inner = solid[1:-1, 1:-1]
    steps: dict[tuple[int, int], tuple[int, int]] = {}
    for row, column in np.argwhere(inner & ~solid[2:, 1:-1]).tolist():  # lower side: to the right
        steps[row + 1, column] = (row + 1, column + 1)
    for row, column in np.argwhere(inner & ~solid[1:-1, 2:]).tolist():  # right side: upwards
        steps[row + 1, column + 1] = (row, column + 1)
    for row, column in np.argwhere(inner & ~solid[:-2, 1:-1]).tolist():  # upper side: to the left
        steps[row, column + 1] = (row, column)
    for row, column in np.argwhere(inner & ~solid[1:-1, :-2]).tolist():  # left side: downwards
        steps[row, column] = (row + 1, column)
    loops = []
    while steps:
        start = next(iter(steps))
        loop, at = [start], steps.pop(start)
        while at != start:
            loop.append(at)
            at = steps.pop(at)
        loops.append(loop)
    return loops
