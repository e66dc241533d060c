"""Captures as raw samples: one byte a sample, one bit of it a line, at a steady rate."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from emulator.errors import CaptureError
from emulator.signal.step import known_step
from emulator.signal.vcd import no_progress, opened
from emulator.signal.waveform import Waveform, joined_lines

Int64 = NDArray[np.int64]

_BLOCK = 1 << 22
_MOST_HZ = 1_000_000_000
_NS = 1_000_000_000
_MOST_SAMPLES = 1 << 33


def read_samples(
    path: Path | str,
    rate_hz: int,
    bits: Sequence[int],
    progress: Callable[[int], None] = no_progress,
) -> dict[str, Waveform]:
    """The lines behind bits of a file of samples, plain or gzipped, as 'bit 0' …

    rate_hz: samples a second, 1 to 1,000,000,000. bits: 0 is the lowest of a byte, 7 the
    highest. An edge has the time of the first sample that shows the new level, in whole
    nanoseconds; the resolution is the time between samples. Memory grows with the
    edges, not with the samples. Raises CaptureError.
    """
    return joined_lines(list(sample_blocks(path, rate_hz, bits, progress)))


def sample_blocks(
    path: Path | str,
    rate_hz: int,
    bits: Sequence[int],
    progress: Callable[[int], None] = no_progress,
) -> Iterator[dict[str, Waveform]]:
    """The lines of `read_samples`, 4 Mi samples at a time, each block from where the last ended."""
    if not 1 <= rate_hz <= _MOST_HZ:
        raise CaptureError(f"a rate of {rate_hz} Hz\n  To mend: give 1 Hz to 1 GHz.")
    if not bits or len(set(bits)) != len(bits) or not all(0 <= bit <= 7 for bit in bits):
        raise CaptureError(
            f"the bits {', '.join(map(str, bits)) or '(none)'}\n"
            "  To mend: give numbers from 0, the lowest of each byte, to 7, each once."
        )
    step = known_step(_NS / rate_hz, 1.0)
    count = 0
    with opened(path) as (stream, position):
        while piece := stream.read(_BLOCK):
            data = np.frombuffer(piece, dtype=np.uint8)
            changes = data[1:] ^ data[:-1]
            start_ns, end_ns = _time_ns(np.array([count, count + data.size]), rate_hz).tolist()
            lines = {}
            for bit in bits:
                changed = np.flatnonzero(changes & np.uint8(1 << bit)) + (count + 1)
                high = bool(data[0] >> bit & 1)
                times = _time_ns(changed, rate_hz)
                lines[f"bit {bit}"] = Waveform(times, high, start_ns, end_ns, *step)
            count += data.size
            if count > _MOST_SAMPLES:
                raise CaptureError(
                    f"{path}: over {_MOST_SAMPLES} samples\n  To mend: capture a shorter time."
                )
            progress(position())
            yield lines
    if not count:
        raise CaptureError(f"{path}: there is no sample\n  To mend: export the capture again.")


def _time_ns(samples: Int64, rate_hz: int) -> Int64:
    """Times of samples by number, int64, to the nearest nanosecond without overflow."""
    seconds, rest = np.divmod(samples.astype(np.int64), rate_hz)
    times: Int64 = seconds * _NS + (rest * _NS + rate_hz // 2) // rate_hz
    return times
