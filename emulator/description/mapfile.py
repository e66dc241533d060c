"""Wiring maps as CSV files with the columns line, led, column, row."""

from __future__ import annotations

import csv
import io
from array import array
from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Ints
from emulator.description.sections import MOST_CELLS
from emulator.description.wiring import NO_CELL, Wiring
from emulator.errors import MapFileError, Problem, near_miss
from emulator.files import read_file

COLUMNS = ("line", "led", "column", "row")
_MOST_SHOWN = 20
_MOST_BYTES = 32 << 20  # of a map: a million LEDs take 20 MB


class _Faults:
    """What is wrong in a map: the first faults as problems, the rest counted."""

    def __init__(self) -> None:
        self._told: list[Problem] = []
        self._rest = 0

    def __bool__(self) -> bool:
        return bool(self._told)

    def first(self, found: NDArray[np.intp]) -> list[int]:
        """Those of the found places that will be reported; the rest is only counted."""
        room = _MOST_SHOWN - len(self._told)
        self._rest += max(len(found) - room, 0)
        return [int(place) for place in found[:room]]

    def add(self, message: str, fix: str, line: int | None = None, excerpt: str = "") -> None:
        """Report a fault, or only count it if enough are reported."""
        if len(self._told) < _MOST_SHOWN:
            self._told.append(Problem(message, fix, line=line, excerpt=excerpt))
        else:
            self._rest += 1

    def judge(self, path: Path) -> None:
        """Raise MapFileError if there are any."""
        if self._rest:
            self._told.append(Problem(f"{self._rest} more faults of this kind", "see above."))
        if self._told:
            raise MapFileError(path, self._told)


def read_map(path: Path | str, gap: NDArray[np.bool_]) -> Wiring:
    """The wiring of a map; `gap` is (rows, columns) bool, True for a cell without LED.

    Every cell outside the gaps must have exactly one LED. An LED with column and row -1 is hidden.
    Raises MapFileError with the first 20 faults: a file that cannot be read, a number that is
    missing or not whole, an LED listed twice or skipped, a cell that is outside the grid, in a gap,
    used twice or left out.
    """
    return _read(Path(path), gap, claim=False)


def read_claim(path: Path | str, gap: NDArray[np.bool_]) -> Wiring:
    """A map before the check of its cells.

    Cells may be missing, used twice or in a gap. An LED that is left out is hidden. Raises
    MapFileError for all other faults, as `read_map` does.
    """
    return _read(Path(path), gap, claim=True)


def map_text(table: Ints) -> str:
    """The text of a map that `read_map` reads, of LEDs (N, 4) in the order of COLUMNS."""
    rows = ("{},{},{},{}".format(*entry) for entry in table.tolist())
    return "\n".join([",".join(COLUMNS), *rows, ""])


def _read(path: Path, gap: NDArray[np.bool_], claim: bool) -> Wiring:
    rows, columns = gap.shape
    table, lines_of_file = _numbers(path)
    faults = _Faults()

    def fault(index: int, message: str, fix: str) -> None:
        entry = ",".join(str(v) for v in table[index])
        faults.add(message, fix, line=int(lines_of_file[index]), excerpt=entry)

    line, led, column, row = table.T
    hidden = (column == NO_CELL) & (row == NO_CELL)
    outside = (column >= columns) | (row >= rows) | (table < 0).any(axis=1)
    outside &= ~hidden | (line < 0) | (led < 0)
    for i in faults.first(np.flatnonzero(outside)):
        fault(
            i,
            f"column {column[i]}, row {row[i]} of line {line[i]}, LED {led[i]} is outside the grid",
            f"use columns 0 to {columns - 1}, rows 0 to {rows - 1}, lines and LEDs from 0; -1 and"
            " -1 for an LED without a cell.",
        )
    faults.judge(path)
    order = np.lexsort((led, line))
    _check_numbering(table, order, fault, faults, holes=claim)
    faults.judge(path)
    if not claim:
        _check_cells(table, hidden, gap, fault, faults)
    faults.judge(path)
    line, led, column, row = table[order].T
    lengths = np.zeros(int(line.max()) + 1, dtype=np.int64)
    np.maximum.at(lengths, line, led + 1)
    if lengths.sum() > MOST_CELLS:
        fix = "list the LEDs of each line from 0 on."
        raise MapFileError(path, [Problem(f"the lines have {lengths.sum()} LEDs in all", fix)])
    at = (np.cumsum(lengths) - lengths)[line] + led
    cells = np.full((2, int(lengths.sum())), NO_CELL)
    cells[:, at] = column, row
    lines = np.repeat(np.arange(lengths.size), lengths)
    return Wiring.from_cells(columns, rows, lines, *cells)


def _numbers(path: Path) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """The table (N, 4) in the order of COLUMNS, and the file's line number of each entry."""

    def fail(message: str, fix: str, line: int | None = None) -> MapFileError:
        return MapFileError(path, [Problem(message, fix, line=line)])

    try:
        text = read_file(path, _MOST_BYTES).decode("utf-8-sig")
    except FileNotFoundError:
        raise fail("there is no such file", "check the path.") from None
    except OSError as error:
        raise fail(f"cannot be read ({error.strerror})", "check the path.") from error
    except UnicodeDecodeError as error:
        raise fail("not a text file", "save the map as CSV in UTF-8.") from error
    except ValueError as error:  # a NUL in the name
        raise fail(f"no file can have this name ({error})", "check the path.") from error
    faults = _Faults()
    values, numbers = array("q"), array("q")
    try:
        reader = csv.reader(io.StringIO(text, newline=None))
        header = [name.strip().lower() for name in next(reader, [])]
        if sorted(header) != sorted(COLUMNS):
            wanted = f"the first line must name the columns {','.join(COLUMNS)}"
            if len({*header} & {*COLUMNS}) >= 2:
                odd = next((n for n in header if n not in COLUMNS), "")
                wanted += f", but is '{','.join(header)[:60]}'{near_miss(odd, COLUMNS)}"
            # Otherwise this is some other file. The error does not quote it: it may hold secrets.
            raise fail(wanted, f"write '{','.join(COLUMNS)}' as the first line.", line=1)
        place = [header.index(name) for name in COLUMNS]
        for entry in reader:
            if not entry:
                continue
            try:
                if len(entry) != len(COLUMNS):
                    raise ValueError
                found = [int(entry[i]) for i in place]
                if max(found) >= MOST_CELLS or min(found) < -MOST_CELLS:
                    raise ValueError
            except ValueError:
                faults.add(
                    f"'{','.join(entry)[:60]}' is not four whole numbers below {MOST_CELLS}",
                    "give line, led, column and row as whole numbers from 0.",
                    line=reader.line_num,
                )
                continue
            values.extend(found)
            numbers.append(reader.line_num)
    except csv.Error as error:
        raise fail(f"not a CSV file ({error})", "save the map as plain CSV.") from error
    faults.judge(path)
    if not numbers:
        raise fail("no LED is listed", "add a line per LED below the first line.")
    if len(numbers) > MOST_CELLS:
        raise fail(f"{len(numbers)} LEDs are too many", f"list at most {MOST_CELLS}.")
    table = np.array(values, dtype=np.int64).reshape(-1, len(COLUMNS))
    return table, np.array(numbers, dtype=np.int64)


def _check_numbering(
    table: NDArray[np.int64],
    order: NDArray[np.intp],
    fault: Callable[[int, str, str], None],
    faults: _Faults,
    holes: bool,
) -> None:
    """Lines and LEDs must count 0, 1, 2 … without doubles; without holes, unless `holes`."""
    line, led = table[order, 0], table[order, 1]
    same_line = np.diff(line, prepend=-1) == 0
    expected = np.where(same_line, np.concatenate(([0], led[:-1])) + 1, 0)
    new_line = np.diff(line, prepend=-1) > 1
    twice = same_line & (led == expected - 1)
    wrong = twice if holes else (led != expected) | new_line
    for k in faults.first(np.flatnonzero(wrong)):
        i = int(order[k])
        if new_line[k]:
            fault(i, f"line {line[k] - 1} has no LED", "number the lines 0, 1, 2 … in order.")
        elif twice[k]:
            fault(i, f"line {line[k]}, LED {led[k]} is listed twice", "keep one of the two.")
        else:
            fault(
                i,
                f"line {line[k]} goes on at LED {led[k]}, but LED {expected[k]} is missing",
                "number the LEDs of each line 0, 1, 2 … in the order of the data.",
            )


def _check_cells(
    table: NDArray[np.int64],
    hidden: NDArray[np.bool_],
    gap: NDArray[np.bool_],
    fault: Callable[[int, str, str], None],
    faults: _Faults,
) -> None:
    """Every cell outside the gaps must have exactly one LED, but hidden ones (N,) have none."""
    columns = gap.shape[1]
    shown = np.flatnonzero(~hidden)
    cell = table[shown, 3] * columns + table[shown, 2]
    for i in faults.first(shown[gap.reshape(-1)[cell]]):
        fault(i, f"column {table[i, 2]}, row {table[i, 3]} is in a gap",
              "delete the gap in the display file, or the LED here; where it is there and has no"
              " cell, give it column and row -1.")  # fmt: skip
    seen, first = np.unique(cell, return_index=True)
    doubled = np.ones(len(cell), dtype=bool)
    doubled[first] = False
    for at in faults.first(np.flatnonzero(doubled)):
        i, other = int(shown[at]), table[shown[first[np.searchsorted(seen, cell[at])]]]
        fault(
            i,
            f"column {table[i, 2]}, row {table[i, 3]} already holds line {other[0]},"
            f" LED {other[1]}",
            "give each LED its own cell.",
        )
    missing = np.setdiff1d(np.flatnonzero(~gap), cell)
    if len(missing):
        named = ", ".join(f"({c % columns}, {c // columns})" for c in missing[:5])
        more = f" and {len(missing) - 5} more" if len(missing) > 5 else ""
        faults.add(
            f"no LED for the cells (column, row) {named}{more}",
            "list a LED for each, or declare them under gaps in [grid].",
        )
