"""Wiring given run by run in [[line]] tables."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from emulator.description.places import Loc
from emulator.description.sections import LineSection, RunSection
from emulator.description.wiring import NO_CELL, Wiring

Fault = Callable[[Loc, str, str], None]


def explicit_wiring(
    lines: Sequence[LineSection],
    gap: NDArray[np.bool_],
    hidden: NDArray[np.bool_],
    fault: Fault,
) -> Wiring | None:
    """The wiring of the runs, in the order given; `gap` is (rows, columns) bool.

    hidden: (rows, columns), True for the cells of a gap in which a run has hidden LEDs.

    Calls `fault(loc, message, fix)` for each run that leaves the grid, is not straight or takes
    a cell twice, and for cells that no run reaches. Returns None after a fault.
    """
    rows, columns = gap.shape
    is_gap, skipped = gap.reshape(-1), (gap & ~hidden).reshape(-1)
    holder: dict[int, str] = {}
    cells: list[int] = []
    line_of: list[int] = []
    breaks: list[int] = []
    sound = True
    for number, line in enumerate(lines):
        for index, run in enumerate(line.run):
            loc = ("line", number, "run", index)
            if not _lies_straight(run, rows, columns, loc, fault):
                sound = False
                continue
            (c0, r0), (c1, r1) = run.from_, run.to
            length = max(abs(c1 - c0), abs(r1 - r0)) + 1
            step = ((r1 > r0) - (r1 < r0)) * columns + (c1 > c0) - (c1 < c0)
            first = r0 * columns + c0
            kept = [first + step * k for k in range(length) if not skipped[first + step * k]]
            taken = [c for c in kept if c in holder]
            if taken:
                sound = False
                fault(
                    (*loc, "from"),
                    f"{len(taken)} of its cells, the first at column {taken[0] % columns}, row"
                    f" {taken[0] // columns}, already belong to {holder[taken[0]]}",
                    "give each cell to one run.",
                )
                continue
            holder.update(dict.fromkeys(kept, f"run number {len(breaks) + 1}"))
            breaks.append(len(cells))
            before, after = [NO_CELL] * run.hidden_first, [NO_CELL] * run.hidden_last
            cells += [*before, *kept, *after]
            line_of += [number] * (len(before) + len(kept) + len(after))
        own = cells[bisect_left(line_of, number) :]
        if sound and all(cell == NO_CELL or is_gap[cell] for cell in own):
            sound = False
            fault(
                ("line", number),
                f"line {number} has no LED with a cell: gaps cover it",
                "delete the line, or make the gap smaller.",
            )
    missing = [int(c) for c in np.flatnonzero(~is_gap) if c not in holder]
    if missing and sound:
        sound = False
        named = ", ".join(f"({c % columns}, {c // columns})" for c in missing[:5])
        more = f" and {len(missing) - 5} more" if len(missing) > 5 else ""
        fault(
            ("line",),
            f"no run reaches the cells (column, row) {named}{more}",
            "add a run for them, or declare them under gaps in [grid].",
        )
    if not sound:
        return None
    cell = np.array(cells)
    row, column = np.where(cell == NO_CELL, NO_CELL, np.divmod(cell, columns))
    names = tuple(line.name or f"line {n}" for n, line in enumerate(lines))
    return Wiring.from_cells(columns, rows, line_of, column, row, breaks, names, is_gap[cell])


def _lies_straight(run: RunSection, rows: int, columns: int, loc: Loc, fault: Fault) -> bool:
    inside = True
    for key, (column, row) in (("from", run.from_), ("to", run.to)):
        if column >= columns or row >= rows:
            inside = False
            fault(
                (*loc, key),
                f"{key} = [{column}, {row}] is outside the grid",
                f"use columns 0 to {columns - 1} and rows 0 to {rows - 1}.",
            )
    if inside and run.from_[0] != run.to[0] and run.from_[1] != run.to[1]:
        fault(
            (*loc, "to"),
            f"from {run.from_} to {run.to} runs along neither a row nor a column",
            "split it into straight runs.",
        )
        return False
    return inside
