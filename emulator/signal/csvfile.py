"""Captures as CSV: a column of time, and a column of levels 0 and 1 for each line.

The first row may name the columns. The name of the first says the unit of time: s (where it
says none), ms, us or µs, ns, as in 'time_ns' or 'Time [s]'. A row stands for one sample, or for
each change; columns are parted by commas, semicolons or tabs.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from emulator.errors import CaptureError
from emulator.signal.step import StepFinder, known_step
from emulator.signal.vcd import no_progress, opened
from emulator.signal.waveform import Waveform, joined_lines

_BLOCK = 1 << 22
_UNIT = re.compile(r"(?:^|[^a-zµμ])(s|ms|us|µs|μs|ns)(?:$|[^a-z])", re.IGNORECASE)
_NS = {"s": 1e9, "ms": 1e6, "us": 1e3, "µs": 1e3, "μs": 1e3, "ns": 1.0}
_MOST_NS = 1e15  # float64 tells nanoseconds apart up to 2^53, some 9e15
_MEND = "give a column of times and columns of 0 and 1, parted by commas; name the unit of time"


def read_csv(
    path: Path | str,
    rate_hz: int | None = None,
    progress: Callable[[int], None] = no_progress,
) -> dict[str, Waveform]:
    """The lines of a CSV file, plain or gzipped, by the names in its first row or 'line 0' …

    Times are rounded to whole nanoseconds; of rows at one time the last counts. An edge has the
    time of the first row that shows the new level.

    rate_hz: samples a second. Left out, the sampling step is found from the times of all rows
    (`step.StepFinder`).

    Raises CaptureError naming the row, for anything else.
    """
    return joined_lines(list(csv_blocks(path, rate_hz, progress)))


def csv_blocks(
    path: Path | str,
    rate_hz: int | None = None,
    progress: Callable[[int], None] = no_progress,
) -> Iterator[dict[str, Waveform]]:
    """The lines of `read_csv`, some 4 MiB of rows at a time.

    Where no rate is given the step is found from the rows so far.
    """
    name = str(path)
    rows = _Rows(name, rate_hz)
    came = False
    with opened(path) as (stream, position):
        for lines in _line_blocks(name, stream):
            block = rows.take(lines)
            progress(position())
            if block:
                came = True
                yield block
    if not came:
        raise CaptureError(f"{name}: there is no row of samples\n  To mend: {_MEND}.")


def _line_blocks(name: str, stream: BinaryIO) -> Iterator[list[str]]:
    """The lines of text, some thousands at a time."""
    carried = b""
    while piece := stream.read(_BLOCK):
        block, newline, rest = (carried + piece).rpartition(b"\n")
        if not newline and len(rest) > _BLOCK:
            raise CaptureError(f"{name}: a row of over 4 MiB\n  To mend: {_MEND}.")
        carried = rest
        if block:
            yield block.decode("utf-8", "replace").splitlines()
    if carried:
        yield carried.decode("utf-8", "replace").splitlines()


class _Rows:
    """Reads successive rows: what the first one says holds for all, and time goes on."""

    def __init__(self, name: str, rate_hz: int | None) -> None:
        self._name = name
        self._rate_hz = rate_hz
        self._row = 0  # rows taken, for messages from 1 on
        self._names: list[str] = []
        self._delimiter = ","
        self._scale = 1e9
        self._end: int | None = None  # time of the last row
        self._finder = StepFinder()

    def take(self, lines: list[str]) -> dict[str, Waveform]:
        """The lines in these rows; none where all of them are empty. Raises CaptureError."""
        if not self._names:
            self._begin(lines)
        table = self._table(lines)
        if not table.size:
            return {}
        return self._lines(np.rint(table[:, 0] * self._scale).astype(np.int64), table[:, 1:] == 1)

    def _begin(self, lines: list[str]) -> None:
        """Tell names, unit and delimiter by the first row, and drop it where it has no numbers."""
        first = lines[0].removeprefix("\ufeff")
        self._delimiter = next((d for d in ";\t" if d in first), ",")
        cells = [cell.strip().strip('"') for cell in first.split(self._delimiter)]
        if len(cells) < 2:
            raise CaptureError(f"{self._name}, row 1: only one column\n  To mend: {_MEND}.")
        self._names = [f"line {n}" for n in range(len(cells) - 1)]
        try:
            float(cells[0])
        except ValueError:
            unit = _UNIT.search(cells[0].replace("_", " "))
            self._scale = _NS[unit[1].lower()] if unit else 1e9
            self._names = _distinct(cells[1:])
            lines[0] = ""

    def _table(self, lines: list[str]) -> NDArray[np.float64]:
        """Times and levels, float64 (rows, columns). Raises CaptureError."""
        try:
            if not any(line.strip() for line in lines):
                table = np.zeros((0, 1 + len(self._names)))
            else:
                table = np.loadtxt(lines, delimiter=self._delimiter, comments=None, ndmin=2)
            fine = table.shape[1] == 1 + len(self._names)
        except ValueError:
            fine = False
        if fine:
            levels = table[:, 1:]
            fine = bool(
                ((levels == 0) | (levels == 1)).all()
                and (np.abs(table[:, 0]) * self._scale < _MOST_NS).all()
            )
        if not fine:
            self._blame(lines)
        self._row += len(lines)
        return table

    def _blame(self, lines: list[str]) -> None:
        """Name the first row that is wrong."""
        for number, line in enumerate(lines, self._row + 1):
            cells = line.split(self._delimiter)
            try:
                time, *levels = map(float, cells)
                fine = (
                    len(levels) == len(self._names)
                    and set(levels) <= {0.0, 1.0}
                    and abs(time) * self._scale < _MOST_NS
                )
            except ValueError:
                fine = not line.strip()
            if not fine:
                raise CaptureError(
                    f"{self._name}, row {number}: this is no time with {len(self._names)} levels"
                    f" of 0 or 1\n    {line[:60]}\n  To mend: {_MEND}."
                )
        raise CaptureError(f"{self._name}: the rows cannot be read\n  To mend: {_MEND}.")

    def _lines(self, times: NDArray[np.int64], levels: NDArray[np.bool_]) -> dict[str, Waveform]:
        """The lines of rows at times (R,) with levels (R, lines)."""
        gaps = np.diff(times, prepend=times[0] if self._end is None else self._end)
        if (gaps < 0).any():
            row = int((gaps < 0).argmax())
            raise CaptureError(
                f"{self._name}: time goes backwards, to {times[row]} ns\n"
                "  To mend: sort the rows by time."
            )
        if self._rate_hz is None:
            self._finder.take(times)
            step = self._finder.step_ns()
        else:
            step = known_step(1e9 / self._rate_hz, 1.0)
        last_of_time = np.append(gaps[1:] > 0, True)
        times, levels = times[last_of_time], levels[last_of_time]
        start, self._end = int(times[0]), int(times[-1])
        changed = levels[1:] != levels[:-1]
        return {
            name: Waveform(times[1:][changed[:, i]], bool(levels[0, i]), start, self._end, *step)
            for i, name in enumerate(self._names)
        }


def _distinct(names: list[str]) -> list[str]:
    """The names, with a number where one is empty or comes twice."""
    return [
        name if name and names.count(name) == 1 else f"{name or 'line'} {number}"
        for number, name in enumerate(names)
    ]
