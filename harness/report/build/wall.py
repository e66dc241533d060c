"""One view of the wall as SVG: strips, data arrows, jumpers, numbers; from the front or mirrored.

Lengths are in user units: the shorter of the two pitches has 30.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np

from emulator.description.display import Display
from emulator.description.wiring import Run
from harness.report.build.buildsheet import line_label
from harness.report.build.svg import Heading, colour, n, paint, rect, shorten, text, triangle

CELL = 30.0
_GLYPH = 0.6  # width of a digit divided by the font size, sans serif


@dataclass(frozen=True)
class WallDrawing:
    """One view of the wall; its grid's top left corner is the origin."""

    display: Display
    mirrored: bool
    numbered: bool
    edge: float  # size of the numbers along the edges

    @cached_property
    def cell(self) -> tuple[float, float]:
        return cell_size(self.display)

    @property
    def lane(self) -> float:
        """Width of the strip around the grid in which the jumpers turn."""
        return 0.55 * min(self.cell)

    @property
    def ring(self) -> float:
        """Width of the strip around the lane that holds the column and row numbers."""
        return 2.2 * self.edge

    @property
    def size(self) -> tuple[float, float]:
        wiring = self.display.wiring
        return wiring.columns * self.cell[0], wiring.rows * self.cell[1]

    @property
    def _right(self) -> int:
        """The direction in this view of what is right from the front: 1 or -1."""
        return -1 if self.mirrored else 1

    @cached_property
    def runs(self) -> tuple[Run, ...]:
        """The runs in this view's own columns, counted from its left."""
        runs, last = self.display.wiring.runs, self.display.wiring.columns - 1
        if not self.mirrored:
            return runs
        return tuple(
            r._replace(from_column=last - r.from_column, to_column=last - r.to_column) for r in runs
        )

    @cached_property
    def headings(self) -> list[Heading]:
        """The direction of each run's data.

        A single cell points to the next run, or away from the one before. If it is alone on its
        line, it points right, seen from the front.
        """
        headings: list[Heading] = []
        for number, run in enumerate(self.runs):
            across, down = run.to_column - run.from_column, run.to_row - run.from_row
            after = self.runs[number + 1] if number + 1 < len(self.runs) else None
            if run.cells_along == 1 and after and after.line == run.line:
                across, down = after.from_column - run.to_column, after.from_row - run.to_row
            elif run.cells_along == 1 and number and self.runs[number - 1].line == run.line:
                across, down = headings[-1]
            if across == down == 0:
                across = self._right
            if abs(across) >= abs(down):
                headings.append((-1 if across < 0 else 1, 0))
            else:
                headings.append((0, -1 if down < 0 else 1))
        return headings

    @cached_property
    def inputs(self) -> dict[int, tuple[Run, Heading, bool]]:
        """Line → its first run, its heading, and whether its data comes from outside the grid."""
        found: dict[int, tuple[Run, Heading, bool]] = {}
        wiring = self.display.wiring
        for run, (dx, dy) in zip(self.runs, self.headings, strict=True):
            before = run.from_column - dx, run.from_row - dy
            inside = 0 <= before[0] < wiring.columns and 0 <= before[1] < wiring.rows
            found.setdefault(run.line, (run, (dx, dy), not inside))
        return found

    @cached_property
    def margins(self) -> tuple[float, float, float, float]:
        """Room that the edges need: left, top, right, bottom."""
        room = dict.fromkeys([(1, 0), (0, 1), (-1, 0), (0, -1)], self.lane + self.ring)
        for line, (_, heading, outside) in self.inputs.items():
            if outside:
                room[heading] = max(room[heading], self.lane + self.ring + self._tag_length(line))
        return room[1, 0], room[0, 1], room[-1, 0], room[0, -1]

    def draw(self) -> Iterator[str]:
        yield from self._gaps()
        yield from self._grid()
        for run, heading in zip(self.runs, self.headings, strict=True):
            yield from self._strip(run, heading)
        for (one, go), (two, come) in pairwise(zip(self.runs, self.headings, strict=True)):
            if one.line == two.line:
                yield self._jumper(one, go, two, come)
        if self.display.chip.in_series > 1:
            yield from self._lamps()
        yield from self._numbers() if self.numbered else self._ends()
        for line in self.inputs:
            yield from self._data_in(line)
        yield from self._edges()

    def _centre(self, column: int, row: int) -> tuple[float, float]:
        return (column + 0.5) * self.cell[0], (row + 0.5) * self.cell[1]

    def _border(self, column: int, row: int, heading: Heading) -> tuple[float, float]:
        """Middle of the cell's edge that `heading` points to."""
        (x, y), (w, h) = self._centre(column, row), self.cell
        return x + heading[0] * w / 2, y + heading[1] * h / 2

    def _gaps(self) -> Iterator[str]:
        w, h = self.cell
        for gap in self.display.grid.gaps:
            across = gap.columns
            left = self.display.grid.columns - gap.column - across if self.mirrored else gap.column
            yield rect("gap", left * w, gap.row * h, across * w, gap.rows * h)

    def _grid(self) -> Iterator[str]:
        (width, height), (w, h) = self.size, self.cell
        wiring = self.display.wiring
        upright = "".join(f"M{n(c * w)} 0V{n(height)}" for c in range(wiring.columns + 1))
        lying = "".join(f"M0 {n(r * h)}H{n(width)}" for r in range(wiring.rows + 1))
        yield f'<path class="grid" d="{upright}{lying}"/>'

    def _strip(self, run: Run, heading: Heading) -> Iterator[str]:
        """A run as a coloured strip; a triangle where its data enters and where it leaves."""
        w, h = self.cell
        inset = 0.13 * min(w, h)
        x, y = min(run.from_column, run.to_column) * w, min(run.from_row, run.to_row) * h
        width = (abs(run.to_column - run.from_column) + 1) * w
        height = (abs(run.to_row - run.from_row) + 1) * h
        yield rect(
            "run", x + inset, y + inset, width - 2 * inset, height - 2 * inset,
            f' rx="{n(inset)}" {paint(run.line)}',
        )  # fmt: skip
        dx, dy = heading
        enter = self._border(run.from_column, run.from_row, (-dx, -dy))
        leave = self._border(run.to_column, run.to_row, heading)
        for tip in (
            (enter[0] + dx * 1.3 * inset, enter[1] + dy * 1.3 * inset),
            leave,
        ):
            yield triangle(tip, heading, 1.25 * inset, 1.1 * inset, colour(run.line))

    def _lamps(self) -> Iterator[str]:
        """The LEDs of each group as dots along its cell, beside the number."""
        wiring, (w, h), count = self.display.wiring, self.cell, self.display.chip.in_series
        columns = wiring.columns - 1 - wiring.column if self.mirrored else wiring.column
        for at in wiring.placed.tolist():
            x, y = self._centre(int(columns[at]), int(wiring.row[at]))
            upright = self.headings[int(wiring.run[at])][1] != 0
            for number in range(count):
                along = (number - (count - 1) / 2) / count
                dot = (x - 0.3 * w, y + along * h) if upright else (x + along * w, y - 0.3 * h)
                yield (
                    f'<circle class="lamp" cx="{n(dot[0])}" cy="{n(dot[1])}"'
                    f' r="{n(0.05 * min(w, h))}"/>'
                )

    def _jumper(self, one: Run, go: Heading, two: Run, come: Heading) -> str:
        """The wire from the end of one run to the start of the next, clear of the numbers.

        It leaves straight on, turns beside the grid or into the free space between two rows
        (columns), and enters straight.
        """
        (w, h), back = self.cell, (-come[0], -come[1])
        x0, y0 = self._border(one.to_column, one.to_row, go)
        x3, y3 = self._border(two.from_column, two.from_row, back)
        out, into = self._reach(one.to_column, one.to_row, go), self._reach(*two[3:5], back)
        x1, y1 = x0 + go[0] * out, y0 + go[1] * out
        if out < 0:
            x0, y0 = x1, y1
        x2, y2 = x3 - come[0] * into, y3 - come[1] * into
        ahead = (x3 - x0) * go[0] + (y3 - y0) * go[1] >= 0
        level = abs((x3 - x0) * go[1]) + abs((y3 - y0) * go[0]) < 1e-6
        if go == come and level and ahead:
            turns = []
        elif go[1] == come[1] == 0:
            between = y0 + (h / 2 if y3 >= y0 else -h / 2)
            turns = [(x1, y1), (x1, between), (x2, between), (x2, y2)]
        elif go[0] == come[0] == 0:
            between = x0 + ((x3 > x0) - (x3 < x0) or self._right) * w / 2
            turns = [(x1, y1), (between, y1), (between, y2), (x2, y2)]
        else:
            turns = [(x1, y1), (x1, y2) if come[0] == 0 else (x2, y1), (x2, y2)]
        # If there is no room to enter straight, the arrow head does so over the strip's tip.
        tip = 0.0 if into > 0 or not turns else 0.1 * min(w, h)
        points = [(x0, y0), *turns, (x3 + come[0] * tip, y3 + come[1] * tip)]
        path = " ".join(f"{n(x)},{n(y)}" for x, y in points)
        return f'<polyline class="jumper" points="{path}"/>'

    def _reach(self, column: int, row: int, heading: Heading) -> float:
        """How far a jumper may run on past a cell before it turns.

        If the neighbour holds an LED, it turns just before the border, on its own side, so that the
        jumpers of two strips that meet there do not overlap.
        """
        wiring = self.display.wiring
        column, row = column + heading[0], row + heading[1]
        if 0 <= column < wiring.columns and 0 <= row < wiring.rows:
            own = wiring.columns - 1 - column if self.mirrored else column
            if wiring.led_at[row, own] >= 0:
                return -0.06 * min(self.cell)
        return 0.36 * min(self.cell)

    def _numbers(self) -> Iterator[str]:
        wiring, size = self.display.wiring, number_size(self.display)
        columns = wiring.columns - 1 - wiring.column if self.mirrored else wiring.column
        in_gap = self.display.gap[wiring.row, wiring.column]  # others sit beside a cell with an LED
        for at in np.flatnonzero(~wiring.hidden | in_gap).tolist():
            number = f"({wiring.led[at]})" if wiring.hidden[at] else f"{wiring.led[at]}"
            yield text("led", *self._centre(int(columns[at]), int(wiring.row[at])), number, size)

    def _ends(self) -> Iterator[str]:
        """The first and the last number of each run, written along it."""
        several = len(self.display.wiring.line_names) > 1
        size, inset = 0.6 * min(self.cell), 0.3 * min(self.cell)
        for run, (dx, dy) in zip(self.runs, self.headings, strict=True):
            line = f"{run.line}:" if several else ""
            room = run.cells_along * self.cell[0 if dx else 1] - 2 * inset
            first, last = f"{line}{run.first}", f"{line}{run.last}"
            ends = [(first, (run.from_column, run.from_row), 1)]
            if run.cells_along > 1 and (len(first) + len(last) + 1) * _GLYPH * size <= room:
                ends.append((last, (run.to_column, run.to_row), -1))
            fitted = min(size, room / (_GLYPH * len(first)))
            for label, cell, side in ends:
                x, y = self._border(*cell, (-dx * side, -dy * side))
                along = side * (inset + len(label) * _GLYPH * fitted / 2)
                yield text("led", x + dx * along, y + dy * along, label, fitted, upright=bool(dy))

    def _tag_length(self, line: int) -> float:
        return (len(self._tag(line)) * 0.52 + 1.6) * self.edge

    def _tag(self, line: int) -> str:
        return f"data in: {shorten(line_label(self.display, line), 24)}"

    def _data_in(self, line: int) -> Iterator[str]:
        """The arrow into the first LED of a line, and outside the grid the line's name."""
        run, (dx, dy), outside = self.inputs[line]
        x, y = self._border(run.from_column, run.from_row, (-dx, -dy))
        thick = 0.1 * min(self.cell)
        # Inside the grid, draw only what fits between two numbers.
        reach = self.lane + self.ring if outside else 2.5 * thick
        tail = x - dx * reach, y - dy * reach
        yield (
            f'<path class="data-in" stroke="{colour(line)}" stroke-width="{n(thick)}"'
            f' d="M{n(tail[0])} {n(tail[1])}L{n(x)} {n(y)}"/>'
        )
        tip = x + dx * thick, y + dy * thick
        yield triangle(tip, (dx, dy), min(4 * thick, reach), 2.4 * thick, colour(line))
        if outside:
            # The name is horizontal beside the grid, and vertical above and below it.
            away = -dx if dx else dy
            length, tall = self._tag_length(line), 1.7 * self.edge
            turn = " rotate(-90)" if dy else ""
            yield f'<g transform="translate({n(tail[0])} {n(tail[1])}){turn}">'
            yield rect(
                "tag", min(0.0, away * length), -tall / 2, length, tall,
                f' rx="{n(tall / 2)}" {paint(line)}',
            )  # fmt: skip
            yield text("tag-name", away * length / 2, 0, self._tag(line), self.edge)
            yield "</g>"

    def _edges(self) -> Iterator[str]:
        """Column and row numbers on all four sides, except where a data-in arrow passes."""
        wiring, (w, h), (width, height) = self.display.wiring, self.cell, self.size
        away = self.lane + self.ring / 2
        taken = {(*head, run.from_row if head[0] else run.from_column)
                 for run, head, outside in self.inputs.values() if outside}  # fmt: skip
        step = _step(_GLYPH * self.edge * (len(str(wiring.columns)) + 0.5) / w)
        for at in range(wiring.columns):
            column = wiring.columns - 1 - at if self.mirrored else at
            if column % step == 0:
                for side, y in ((1, -away), (-1, height + away)):
                    if (0, side, at) not in taken:
                        yield text("edge", (at + 0.5) * w, y, str(column), self.edge)
        step = _step(1.2 * self.edge / h)
        for row in range(0, wiring.rows, step):
            for side, x in ((1, -away), (-1, width + away)):
                if (side, 0, row) not in taken:
                    yield text("edge", x, (row + 0.5) * h, str(row), self.edge)


def cell_size(display: Display) -> tuple[float, float]:
    """Width and height of a cell in user units."""
    across, down = display.grid.pitches_mm
    scale = CELL / min(across, down)
    return across * scale, down * scale


def number_size(display: Display) -> float:
    """Font size at which every LED's number fits its cell between the triangles."""
    digits = len(str(max(display.wiring.line_lengths) - 1))
    width, height = cell_size(display)
    return min(0.34 * height, 0.62 * width / (_GLYPH * digits))


def _step(cells: float) -> int:
    """The first of 1, 2, 5, 10 … that leaves enough cells for each number."""
    step = 1
    while step < cells:
        step = step * 5 // 2 if str(step)[0] == "2" else step * 2
    return step
