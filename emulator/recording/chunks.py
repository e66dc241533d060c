"""The chunks of a recording: frames in files, read only when they are needed."""

from __future__ import annotations

import bisect
import copy
import math
import zipfile
import zlib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from emulator.arrays import Bytes, Times
from emulator.errors import RecordingError
from emulator.files import check_file

# The errors that numpy and zipfile raise for broken files; RuntimeError if one looks encrypted.
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

_HEADER = 4096  # bytes: more than numpy's header for an array of so few dimensions
_MOST_BYTES = 256 << 20  # an array of a chunk: a second of a million LEDs


class Chunks:
    """Drives (T, N, C) that stay in their files, so that a long recording needs little memory.

    Index it with a frame or a slice of frames without step to get an array. The last chunk read
    stays in memory. files: one for each chunk, in order. counts: how many frames each contains.
    """

    def __init__(
        self, files: Sequence[Path], counts: Sequence[int], leds: int, channels: int
    ) -> None:
        self._files = tuple(files)
        self._begins = [0, *np.cumsum(counts, dtype=np.int64).tolist()]  # of chunks, and the end
        self._leds, self._channels = leds, channels
        self._frames = range(self._begins[-1])  # the frames of this part
        self._last: tuple[int, Bytes] | None = None

    def __len__(self) -> int:
        return len(self._frames)

    def __getitem__(self, frames: int | slice) -> Bytes:
        """uint8 (N, C) of a frame, (T, N, C) of a slice.

        Raises IndexError outside the recording, and RecordingError if a chunk has changed on disk.
        """
        if not isinstance(frames, slice):
            number = self._frames[frames]
            return np.asarray(self._read(number, number + 1)[0])
        if frames.step not in (None, 1):
            raise IndexError("give a slice without step: frames are read one after the other")
        wanted = self._frames[frames]
        return self._read(wanted.start, wanted.stop)

    def part(self, begin: int, end: int) -> Chunks:
        """The frames from `begin` to before `end`, without reading them."""
        some = copy.copy(self)
        some._frames = self._frames[begin:end]
        return some

    def _read(self, begin: int, end: int) -> Bytes:
        pieces = []
        while begin < end:
            chunk = bisect.bisect_right(self._begins, begin) - 1
            first = self._begins[chunk]
            pieces.append(self._chunk(chunk)[begin - first : end - first])
            begin = self._begins[chunk + 1]
        if not pieces:
            return np.empty((0, self._leds, self._channels), dtype=np.uint8)
        return pieces[0] if len(pieces) == 1 else np.concatenate(pieces)

    def _chunk(self, chunk: int) -> Bytes:
        if self._last is None or self._last[0] != chunk:
            file = self._files[chunk]
            count = self._begins[chunk + 1] - self._begins[chunk]
            try:
                _, drives = read_chunk(file, self._leds, self._channels)
                if len(drives) != count:
                    raise ValueError(f"{len(drives)} frames where there were {count}")
            except BROKEN as error:
                raise RecordingError(
                    f"{file} has changed since the recording was opened ({error})",
                    fix="do not change a recording while it is read; start again.",
                ) from error
            self._last = chunk, drives
        return self._last[1]


def read_chunk(path: Path, leds: int, channels: int) -> tuple[Times, Bytes]:
    """times_ns (T,) and drives (T, N, C) of a chunk. Raises one of BROKEN."""
    check_file(path)
    with path.open("rb") as file:  # numpy would not close a broken file
        arrays = np.load(file, allow_pickle=False)
        if isinstance(arrays, np.ndarray):
            raise ValueError("there is one array instead of two")
        with arrays:
            frames = _frames(arrays.zip, leds, channels)
            times_ns, drives = arrays["times_ns"], arrays["drives"]
    if times_ns.shape != (frames,) or drives.shape != (frames, leds, channels):
        raise ValueError(f"drives of shape {drives.shape} for {len(times_ns)} times")
    return times_ns, drives


def _frames(archive: zipfile.ZipFile, leds: int, channels: int) -> int:
    """How many frames a chunk contains, from the headers of its arrays. Raises one of BROKEN."""
    times, times_kind = header(archive, "times_ns")
    drives, drives_kind = header(archive, "drives")
    if times_kind != np.int64 or drives_kind != np.uint8:
        raise ValueError(f"times of {times_kind} and drives of {drives_kind}")
    if len(times) != 1 or drives != (times[0], leds, channels):
        raise ValueError(f"drives of shape {drives} for times of shape {times}")
    return times[0]


def header(archive: zipfile.ZipFile, name: str) -> tuple[tuple[int, ...], np.dtype[Any]]:
    """Shape and dtype of an array in a .npz, read before it is unpacked.

    A few megabytes may unpack to gigabytes. Raises one of BROKEN for an array larger than any in a
    recording, or if more is packed than its header says.
    """
    member = archive.getinfo(f"{name}.npy")
    with archive.open(member) as packed:
        version = np.lib.format.read_magic(packed)
        if version != (1, 0):
            raise ValueError(f"{name} has version {version} of numpy's format")
        shape, _, dtype = np.lib.format.read_array_header_1_0(packed)
    size = math.prod(shape) * dtype.itemsize
    if size > _MOST_BYTES:
        raise ValueError(f"{name} of shape {shape} takes {size >> 20} MiB, more than a second does")
    if member.file_size > size + _HEADER:
        raise ValueError(f"{name} packs {member.file_size} bytes; its header says {size}")
    return shape, dtype
