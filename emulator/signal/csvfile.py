"""Captures as CSV: a column of time, and a column of levels for each line.

A row is one sample, or one change. The name of the first column (or a row of units below the
names) says the unit of time: s (the default), ms, us or µs, ns, ps, as in 'time_ns' or 'Time [s]'.
If the rate is known, the column of time may be missing; each row is then one sample. The text may
be UTF-8 or UTF-16. `csvtable` says what a table may look like.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import BinaryIO, NoReturn

import numpy as np
from numpy.typing import NDArray

from emulator.errors import CaptureError
from emulator.signal.csvtable import Table, find_table
from emulator.signal.step import StepFinder, known_step
from emulator.signal.stream import as_utf8, no_progress, opened
from emulator.signal.waveform import Waveform, joined_lines

_BLOCK = 1 << 22
_MOST_NS = 1e15  # float64 resolves nanoseconds up to 2^53, about 9e15
_FIX = (
    "give a column of times and columns of 0 and 1, separated by commas, semicolons or tabs; name "
    "the unit of time. If there are no times, give the rate, as --rate 24MHz"
)


def read_csv(
    path: Path | str,
    rate_hz: int | None = None,
    progress: Callable[[int], None] = no_progress,
) -> dict[str, Waveform]:
    """The lines of a CSV file, plain or gzipped, by the names in its table or 'line 0' …

    Times are rounded to whole nanoseconds. Of rows with the same time the last counts. An edge has
    the time of the first row that shows the new level.

    rate_hz: samples a second. Default: the rate in the preamble, else the sampling step is found
    from the times of all rows (`step.StepFinder`). [Hz]
    progress: called now and then with the number of bytes of the file read so far.

    Raises CaptureError, which names the row, for a file that is not such a table.
    """
    return joined_lines(list(csv_blocks(path, rate_hz, progress)))


def csv_blocks(
    path: Path | str,
    rate_hz: int | None = None,
    progress: Callable[[int], None] = no_progress,
) -> Iterator[dict[str, Waveform]]:
    """The lines of `read_csv`, some 4 MiB of rows at a time.

    If no rate is known, the step is found from the rows so far. Raises CaptureError.
    """
    name = str(path)
    rows = _Rows(name, rate_hz)
    came = False
    with opened(path) as (stream, position):
        for lines in _line_blocks(name, as_utf8(stream)):
            block = rows.take(lines)
            progress(position())
            if block:
                came = True
                yield block
    if not came:
        rows.refuse()
        raise CaptureError("there is no row of samples", place=name, fix=f"{_FIX}.")


def _line_blocks(name: str, stream: BinaryIO) -> Iterator[list[str]]:
    """The lines of text, some thousands at a time. Raises CaptureError."""
    carried = b""
    while piece := stream.read(_BLOCK):
        block, newline, rest = (carried + piece).rpartition(b"\n")
        if not newline and len(rest) > _BLOCK:
            raise CaptureError("a row is longer than 4 MiB", place=name, fix=f"{_FIX}.")
        carried = rest
        if block:
            yield block.decode("utf-8", "replace").splitlines()
    if carried:
        yield carried.decode("utf-8", "replace").splitlines()


class _Rows:
    """Reads successive rows of one table: keeps the table's head and the time reached."""

    def __init__(self, name: str, rate_hz: int | None) -> None:
        self._name = name
        self._rate_hz = rate_hz
        self._row = 0  # rows taken; messages count from 1
        self._samples = 0  # rows taken of a table without times
        self._ahead: list[str] = []
        self._table: Table | None = None
        self._end: int | None = None  # time of the last row
        self._finder = StepFinder()
        self._tick_ns = 1  # what times are rounded to, so far

    def take(self, lines: list[str]) -> dict[str, Waveform]:
        """The lines in these rows; none if all rows are empty. Raises CaptureError."""
        if self._table is None:
            self._ahead += lines
            self._table = find_table(self._ahead, self._rate_hz)
            if self._table is None:
                return {}
            lines, self._ahead = self._ahead[self._table.first :], []
            self._row = self._table.first
            self._rate_hz = self._table.rate_hz
        try:
            times, levels = self._table.numbers(lines)
            fine = self._fine(times, levels)
        except ValueError:
            fine = False
        if not fine:
            self._blame(self._table, lines)
        self._row += len(lines)
        if not times.size:
            return {}
        if not self._table.timed or self._table.counted:
            assert self._rate_hz is not None
            number = times / self._table.ns_per_unit if self._table.counted else times
            times = (number + self._samples * (not self._table.timed)) * (1e9 / self._rate_hz)
            self._samples += times.size
        self._tick_ns = max(self._tick_ns, round(self._table.tick_ns(lines)))
        return self._lines(np.rint(times).astype(np.int64), levels == 1)

    def refuse(self) -> None:
        """Raise CaptureError for text without a table, once there is enough of it to judge."""
        rows = [(number, line) for number, line in enumerate(self._ahead, 1) if line.strip()]
        if rows and not any(sign in line for _, line in rows for sign in ",;\t"):
            raise CaptureError(
                "there is only one column", place=f"{self._name}, row 1", fix=f"{_FIX}."
            )
        if len(rows) > 1:
            self._raise(rows[1][0], rows[1][1], "levels")

    def _fine(self, times: NDArray[np.float64], levels: NDArray[np.float64]) -> bool:
        return bool(((levels == 0) | (levels == 1)).all() and (np.abs(times) < _MOST_NS).all())

    def _blame(self, table: Table, lines: list[str]) -> NoReturn:
        """Name the first row that is wrong."""
        for number, line in enumerate(lines, self._row + 1):
            try:
                fine = self._fine(*table.numbers([line]))
            except ValueError:
                fine = False
            if not fine:
                self._raise(number, line, f"{len(table.names)} levels")
        raise CaptureError("the rows cannot be read", place=self._name, fix=f"{_FIX}.")

    def _raise(self, number: int, line: str, levels: str) -> NoReturn:
        raise CaptureError(
            f"this is not a time with {levels} of 0 or 1\n    {line[:60]}",
            place=f"{self._name}, row {number}",
            fix=f"{_FIX}.",
        )

    def _lines(self, times: NDArray[np.int64], levels: NDArray[np.bool_]) -> dict[str, Waveform]:
        """The lines of rows at times (R,) with levels (R, lines)."""
        assert self._table is not None
        gaps = np.diff(times, prepend=times[0] if self._end is None else self._end)
        if (gaps < 0).any():
            row = int((gaps < 0).argmax())
            raise CaptureError(
                f"time goes backwards, to {times[row]} ns",
                place=self._name,
                fix="sort the rows by time.",
            )
        written = times
        last_of_time = np.append(gaps[1:] > 0, True)
        times, levels = times[last_of_time], levels[last_of_time]
        start, self._end = int(times[0]), int(times[-1])
        changed = levels[1:] != levels[:-1]
        edges = [times[1:][column] for column in changed.T]
        if self._rate_hz is None:
            sampled = 2 * np.count_nonzero(changed.any(axis=1)) <= written.size
            self._finder.take(written, self._tick_ns, None if sampled else edges)
            step = self._finder.step_ns()
        else:
            step = known_step(1e9 / self._rate_hz, self._tick_ns)
        return {
            name: Waveform(edges[i], bool(levels[0, i]), start, self._end, *step)
            for i, name in enumerate(self._table.names)
        }
