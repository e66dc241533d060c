"""Writes a VCD file (IEEE 1364-2001 §18), piece by piece or at once."""

from __future__ import annotations

import gzip
import io
import re
from collections.abc import Iterable, Mapping
from contextlib import ExitStack
from pathlib import Path
from typing import IO, BinaryIO, NoReturn, cast

import numpy as np
from numpy.typing import NDArray
from vcd.writer import VCDWriter

from emulator.errors import CaptureError, WriteError
from emulator.files import MARK, whole_file
from emulator.signal.stream import MOST_BYTES
from emulator.signal.waveform import Waveform

_NAME = re.compile(r"[!-#%-\[\]-~][!-~]*")
_AT_ONCE = 1 << 16  # changes that become text together
_QUICK = 1  # gzip's fastest level: a show may have to wait for it


class FullError(WriteError):
    """A file would become larger than foreglow reads; what was written before is complete."""


class VcdFile:
    """Writes lines piece by piece, with a timescale of 1 ns; gzipped if the name ends in .gz.

    Memory does not grow with the file. The file appears whole at `close`, or not at all.

    first_levels: the first level of each line, by name. start_ns: when the file begins, not before
    0. [ns] resolution_ns: written in a comment that `read_vcd` reads. [ns]

    Raises CaptureError without lines or for a name that VCD cannot hold, and WriteError if the file
    cannot be written.
    """

    def __init__(
        self,
        path: Path,
        first_levels: Mapping[str, bool],
        start_ns: int = 0,
        resolution_ns: float = 1,
    ) -> None:
        _judge(path, first_levels)
        self.path = path
        self._closing, self._open = ExitStack(), True
        self._written = 0
        self._time_ns = self._end_ns = start_ns  # last written, and to be written at the end
        header = io.StringIO()
        writer = VCDWriter(
            cast("IO[str]", header),
            timescale="1 ns",
            date="",
            version=MARK,
            comment=f"sampled every {resolution_ns:.9g} ns",
            init_timestamp=start_ns,
        )
        codes = [
            writer.register_var("lines", name, "wire", size=1, init=int(level)).ident
            for name, level in first_levels.items()
        ]
        writer.flush()
        self._codes = np.array(codes, dtype=bytes).view(np.uint8).reshape(len(codes), -1)
        try:
            beside = self._closing.enter_context(whole_file(path))
            self._stream: BinaryIO = self._closing.enter_context(beside.open("wb"))
            if path.suffix == ".gz":
                zipped = gzip.GzipFile("", "wb", _QUICK, self._stream, mtime=0)
                self._stream = cast(BinaryIO, self._closing.enter_context(zipped))
            self._put(header.getvalue().encode("ascii"))
        except OSError as error:
            self._give_up(error)

    def add(self, waveforms: Mapping[str, Waveform]) -> None:
        """Write the next piece of each line, from the level it had, in the order of `first_levels`.

        No edge may be before one written earlier. Raises WriteError if writing fails, and FullError
        if the text might pass 1 GiB, the most that foreglow reads; that piece is left out.
        """
        if not self._open:
            raise WriteError("writing has stopped", place=self.path, fix="start a new file.")
        lines = list(waveforms.values())
        times = np.concatenate([line.edges_ns for line in lines])
        number = np.repeat(np.arange(len(lines)), [line.edges_ns.size for line in lines])
        level = np.concatenate(
            [(np.arange(line.edges_ns.size) & 1) == int(line.first_level) for line in lines]
        )
        end_ns = max(self._end_ns, *(line.end_ns for line in lines))
        most_each = len(f"#{end_ns}\n1\n") + self._codes.shape[1]
        if self._written + (times.size + 1) * most_each > MOST_BYTES:
            raise FullError(
                f"over {MOST_BYTES >> 20} MiB of text",
                place=self.path,
                fix="close it and go on in another file, or send fewer frames.",
            )
        order = np.argsort(times, kind="stable")
        try:
            for at in range(0, order.size, _AT_ONCE):
                part = order[at : at + _AT_ONCE]
                self._put(_text(self._time_ns, times[part], level[part], self._codes[number[part]]))
                self._time_ns = int(times[part[-1]])
        except OSError as error:
            self._give_up(error)
        self._end_ns = end_ns

    def close(self) -> None:
        """Finish the file; a second call, or one after `discard`, does nothing.

        Raises WriteError.
        """
        if not self._open:
            return
        try:
            if self._end_ns > self._time_ns:
                self._put(f"#{self._end_ns}\n".encode("ascii"))
        except OSError as error:
            self._give_up(error)
        self._open = False
        self._closing.close()

    def discard(self, error: BaseException) -> None:
        """Remove the unfinished file because of an error; raises an OSError as WriteError."""
        self._open = False
        self._closing.__exit__(type(error), error, error.__traceback__)

    def _put(self, text: bytes) -> None:
        self._written += len(text)
        self._stream.write(text)

    def _give_up(self, error: OSError) -> NoReturn:
        self.discard(error)  # raises WriteError if the unfinished file was still open
        raise error


def write_vcd(path: Path | str, waveforms: Mapping[str, Waveform]) -> None:
    """Write whole lines to a VCD file with a timescale of 1 ns, gzipped if the name ends in .gz.

    VCD has no time before 0: if a waveform begins earlier, all are moved so that the earliest
    begins at 0. A comment, which `read_vcd` reads, gives the coarsest resolution. The file appears
    whole or not at all. Raises CaptureError and WriteError as VcdFile does.
    """
    lines = list(waveforms.values())
    start_ns = min((line.start_ns for line in lines), default=0)
    file = VcdFile(
        Path(path),
        {name: line.first_level for name, line in waveforms.items()},
        max(0, start_ns),
        max((line.resolution_ns for line in lines), default=1),
    )
    try:
        file.add({name: line.moved(max(0, -start_ns)) for name, line in waveforms.items()})
    except BaseException as error:
        file.discard(error)
        raise
    file.close()


def _judge(path: Path, names: Iterable[str]) -> None:
    """Raise CaptureError for lines that a file cannot have."""
    if not names:
        raise CaptureError("no lines to write", place=path, fix="give at least one waveform.")
    for name in names:
        if not _NAME.fullmatch(name):
            raise CaptureError(
                f"VCD cannot hold a line called '{name}'",
                place=path,
                fix="use ASCII letters, digits and signs, no blanks, no $ or \\ in front.",
            )


def _text(
    time_ns: int, times: NDArray[np.int64], level: NDArray[np.bool_], codes: NDArray[np.uint8]
) -> bytes:
    """Value changes after `time_ns` as text: times (E,) that never fall, levels (E,), codes (E, W).

    Each change is a row of bytes, all equally long; bytes that are 0 are then left out.
    """
    digits = len(str(times[-1]))
    rows = np.zeros((times.size, digits + 3 + codes.shape[1] + 1), np.uint8)
    tells = np.diff(times, prepend=time_ns) > 0  # each time is written once
    rows[:, 0] = tells * np.uint8(ord("#"))
    rest = times
    for column in range(digits, 0, -1):
        before = rest // 10
        rows[:, column] = (rest - 10 * before + ord("0")) * (tells & (rest > 0))
        rest = before
    rows[:, digits + 1] = tells * np.uint8(ord("\n"))
    rows[:, digits + 2] = level + np.uint8(ord("0"))
    rows[:, digits + 3 : -1] = codes
    rows[:, -1] = ord("\n")
    text: bytes = rows[rows != 0].tobytes()
    return text
