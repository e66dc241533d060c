"""The chunks of a recording: frames in files, read when they are asked for."""

from __future__ import annotations

import bisect
import copy
import zipfile
import zlib
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from emulator.errors import RecordingError

# What numpy and zipfile raise for broken files; RuntimeError for one that seems to be encrypted.
BROKEN = (
    OSError,
    ValueError,
    KeyError,
    EOFError,
    MemoryError,
    RuntimeError,
    zipfile.BadZipFile,
    zlib.error,
)

Times = NDArray[np.int64]
Drives = NDArray[np.uint8]


class Chunks:
    """Drives (T, N, C) that stay in their files, so that a long recording needs little memory.

    Indexed by a frame or a slice of frames without step, it gives an array; the chunk read last
    is kept. files: one a chunk, in order. counts: how many frames each holds.
    """

    def __init__(
        self, files: Sequence[Path], counts: Sequence[int], leds: int, channels: int
    ) -> None:
        self._files = tuple(files)
        self._begins = [0, *np.cumsum(counts, dtype=np.int64).tolist()]  # of chunks, and the end
        self._leds, self._channels = leds, channels
        self._frames = range(self._begins[-1])  # those of them this is about
        self._last: tuple[int, Drives] | None = None

    def __len__(self) -> int:
        return len(self._frames)

    def __getitem__(self, frames: int | slice) -> Drives:
        """(N, C) of a frame, (T, N, C) of a slice.

        Raises IndexError outside the recording, RecordingError where a chunk has changed on disk.
        """
        if not isinstance(frames, slice):
            number = self._frames[frames]
            return np.asarray(self._read(number, number + 1)[0])
        if frames.step not in (None, 1):
            raise IndexError("frames are read one after the other: give a slice without step")
        wanted = self._frames[frames]
        return self._read(wanted.start, wanted.stop)

    def part(self, begin: int, end: int) -> Chunks:
        """The frames from `begin` to before `end`, without reading them."""
        some = copy.copy(self)
        some._frames = self._frames[begin:end]
        return some

    def _read(self, begin: int, end: int) -> Drives:
        pieces = []
        while begin < end:
            chunk = bisect.bisect_right(self._begins, begin) - 1
            first = self._begins[chunk]
            pieces.append(self._chunk(chunk)[begin - first : end - first])
            begin = self._begins[chunk + 1]
        if not pieces:
            return np.empty((0, self._leds, self._channels), dtype=np.uint8)
        return pieces[0] if len(pieces) == 1 else np.concatenate(pieces)

    def _chunk(self, chunk: int) -> Drives:
        if self._last is None or self._last[0] != chunk:
            file = self._files[chunk]
            count = self._begins[chunk + 1] - self._begins[chunk]
            try:
                _, drives = read_chunk(file, self._leds, self._channels)
                if len(drives) != count:
                    raise ValueError(f"{len(drives)} frames where there were {count}")
            except BROKEN as error:
                raise RecordingError(
                    f"{file} has changed since the recording was opened ({error})\n"
                    "  To mend: leave a recording alone while it is read, and start again."
                ) from error
            self._last = chunk, drives
        return self._last[1]


def read_chunk(path: Path, leds: int, channels: int) -> tuple[Times, Drives]:
    """times_ns (T,) and drives (T, N, C) of a chunk. Raises one of BROKEN."""
    with path.open("rb") as file:  # numpy leaves it open where it is broken
        arrays = np.load(file, allow_pickle=False)
        if isinstance(arrays, np.ndarray):
            raise ValueError("one array where there should be two")
        times_ns, drives = arrays["times_ns"], arrays["drives"]
    if times_ns.dtype != np.int64 or drives.dtype != np.uint8:
        raise ValueError(f"times of {times_ns.dtype} and drives of {drives.dtype}")
    if times_ns.ndim != 1 or drives.shape != (len(times_ns), leds, channels):
        raise ValueError(f"drives of shape {drives.shape} for {len(times_ns)} times")
    return times_ns, drives
