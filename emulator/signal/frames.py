"""The frames on a line, as the bits that a chip took from it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emulator.errors import FrameError


@dataclass(frozen=True, eq=False)
class LineFrames:
    """All bits taken from one line, and where each frame of them begins.

    bits : uint8 (n,), 0 or 1, in order of time.
    offsets : int64 (F + 1,). Frame f is `bits[offsets[f]:offsets[f + 1]]`.
    start_ns : int64 (F,). First rising edge of the frame (of the clock, if there is one). [ns]
    end_ns : int64 (F,). Last falling edge of the frame. [ns]
    first_cut, last_cut : the first frame may have begun before the waveform, the last one may
        continue after it.
    glitches : pulses and gaps too short for the chip to see, left out of the bits.
    stray : bits or pulses that belong to no frame, or that the ends of the waveform cut.
    unsure : bits whose pulse is within one sampling step of the chip's threshold.
    plain : the pulses form two groups that decide those bits; else their values are unknown.
    """

    bits: NDArray[np.uint8]
    offsets: NDArray[np.int64]
    start_ns: NDArray[np.int64]
    end_ns: NDArray[np.int64]
    first_cut: bool
    last_cut: bool
    glitches: int = 0
    stray: int = 0
    unsure: int = 0
    plain: bool = True

    def __len__(self) -> int:
        return self.start_ns.size

    @property
    def bit_counts(self) -> NDArray[np.int64]:
        """Bits in each frame, int64 (F,)."""
        return np.diff(self.offsets)

    @property
    def data(self) -> NDArray[np.uint8]:
        """Bytes of all frames, uint8 (n,), first bit highest; missing last bits are 0."""
        return np.packbits(self.bits)

    def frames(self) -> list[NDArray[np.uint8]]:
        """Bytes of each frame, uint8 (B,), first bit highest; missing last bits are 0."""
        if not len(self):
            return []
        if not (self.offsets & 7).any():
            return np.split(self.data, self.offsets[1:-1] >> 3)
        return [np.packbits(part) for part in np.split(self.bits, self.offsets[1:-1])]


def frame_stack(data: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Bytes for the wire, one frame (B,) or a stack (T, B), as a stack. Raises FrameError."""
    if data.dtype != np.uint8 or data.ndim not in (1, 2):
        raise FrameError(
            f"bytes for the wire are {data.dtype} of shape {data.shape}",
            fix="give uint8 of shape (bytes,) or (frames, bytes).",
        )
    return np.atleast_2d(data)


def frame_starts(
    starts_ns: NDArray[np.int64] | int | None, length_ns: NDArray[np.int64], pause_ns: int
) -> NDArray[np.int64]:
    """Start of each frame, int64 (T,): as given, or one after the other with pauses between.

    length_ns : int64 (T,), how long each frame takes. Raises FrameError if a given start is before
    the end of the frame before it, or if there are not T of them.
    """
    if starts_ns is None:
        step = length_ns + pause_ns
        return np.cumsum(step) - length_ns
    starts = np.atleast_1d(np.asarray(starts_ns, dtype=np.int64))
    if starts.shape != length_ns.shape:
        raise FrameError(
            f"{length_ns.size} frames and start times of shape {starts.shape}",
            fix="give one start time a frame.",
        )
    late = starts[:-1] + length_ns[:-1] > starts[1:]
    if late.any():
        frame = int(late.argmax()) + 1
        raise FrameError(
            f"frame {frame} begins at {starts[frame]} ns, before frame {frame - 1} ends at "
            f"{starts[frame - 1] + length_ns[frame - 1]} ns",
            fix="a line carries one frame at a time; start it later.",
        )
    return starts
