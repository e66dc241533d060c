"""Captures as raw samples at a steady rate.

Either one byte a sample, one bit of it a line; or packed: one line, eight samples a byte.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Ints
from emulator.errors import CaptureError
from emulator.signal.step import Step, known_step
from emulator.signal.stream import no_progress, opened
from emulator.signal.waveform import Waveform, joined_lines

_BLOCK = 1 << 22
_MOST_HZ = 1_000_000_000
_NS = 1_000_000_000
_MOST_SAMPLES = 1 << 33
_JUDGED = 1 << 16  # bytes that decide the order of packed samples
_CLEARLY = 0.97  # the right order takes at most this share of the other order's bits

Order = Literal["little", "big"]
FirstSample = Literal["lowest", "highest"]  # bit of a byte of packed samples
_ORDER: dict[FirstSample, Order] = {"lowest": "little", "highest": "big"}


def read_samples(
    path: Path | str,
    rate_hz: int,
    bits: Sequence[int],
    progress: Callable[[int], None] = no_progress,
) -> dict[str, Waveform]:
    """The lines behind bits of a file of samples, plain or gzipped, as 'bit 0' …

    rate_hz: samples a second, 1 to 1,000,000,000. bits: 0 is the lowest of a byte, 7 the
    highest. progress: called now and then with the number of bytes of the file read so far. An edge
    has the time of the first sample that shows the new level, in whole nanoseconds; the resolution
    is the time between samples. Memory grows with the edges, not with the samples. Raises
    CaptureError.
    """
    return joined_lines(list(sample_blocks(path, rate_hz, bits, progress)))


def packed_blocks(
    path: Path | str,
    rate_hz: int,
    progress: Callable[[int], None] = no_progress,
    first: FirstSample | None = None,
) -> Iterator[dict[str, Waveform]]:
    """The one line, 'line 0', of a file with eight samples in every byte, block by block.

    first: the bit of each byte that holds its first sample; default: found from the data, since in
    the wrong order levels last all kinds of times. Otherwise as `sample_blocks`. Raises
    CaptureError, also if the data do not show the order.
    """
    step = _step(rate_hz)
    order = _ORDER[first] if first else None
    count, last = 0, None
    with opened(path) as (stream, position):
        while piece := stream.read(_BLOCK):
            data = np.frombuffer(piece, dtype=np.uint8)
            order = order or _first_bit(path, data)
            bits = np.unpackbits(data, bitorder=order or "little")
            if last is not None:
                bits = np.concatenate([[last], bits])
            begin = count - (last is not None)
            changed = np.flatnonzero(bits[1:] != bits[:-1]) + (begin + 1)
            start_ns, end_ns = _time_ns(np.array([begin, begin + bits.size]), rate_hz).tolist()
            times = _time_ns(changed, rate_hz)
            count, last = count + 8 * data.size, bits[-1]
            _refuse_too_many(path, count)
            progress(position())
            yield {"line 0": Waveform(times, bool(bits[0]), start_ns, end_ns, *step)}
    if not count:
        raise CaptureError("there is no sample", place=path, fix="export the capture again.")


def _first_bit(path: Path | str, data: NDArray[np.uint8]) -> Order | None:
    """Whether the lowest or the highest bit of each byte came first; None if both give the same.

    A line has few levels, of few lengths. So the right order is the one whose lengths of levels
    take fewer bits to write down (the principle of least description length; J. Rissanen,
    Modeling by shortest data description, Automatica 14, 1978, from memory).
    """
    changing = np.flatnonzero((data != 0) & (data != 0xFF))
    if not changing.size:
        return None
    # From the first change on, with the bytes around it.
    part = data[max(0, int(changing[0]) - 1) : int(changing[0]) + _JUDGED]
    little, big = (_description_bits(np.unpackbits(part, bitorder=way)) for way in _ORDER.values())
    if min(little, big) > _CLEARLY * max(little, big):
        raise CaptureError(
            "the data does not show whether the first sample of a byte is its lowest or its "
            "highest bit",
            place=path,
            fix="give --first-sample lowest or highest.",
        )
    return "little" if little < big else "big"


def _description_bits(levels: NDArray[np.uint8]) -> float:
    """How many bits it takes to write down the lengths of levels and the list of lengths."""
    lengths = np.diff(np.flatnonzero(np.diff(levels)))
    _, counts = np.unique(np.minimum(lengths, 255), return_counts=True)
    return float(-(counts * np.log2(counts / max(lengths.size, 1))).sum()) + 8 * counts.size


def _refuse_packed(path: Path | str, data: NDArray[np.uint8]) -> None:
    """Raise CaptureError for bytes that look packed: few changes inside each, but many values."""
    count = np.bincount(data, minlength=256)
    count[[0, 255]] = 0
    kinds = np.arange(256)
    few = np.bitwise_count((kinds ^ (kinds >> 1)) & 0x7F) <= 2
    # Up to four lines make fewer than 16 such values; more lines make many other values as well.
    if np.count_nonzero(count[few]) >= 16 and count[few].sum() > 0.9 * count.sum():
        raise CaptureError(
            "each byte looks like eight samples of one line",
            place=path,
            fix="give --packed instead of bits.",
        )


def sample_blocks(
    path: Path | str,
    rate_hz: int,
    bits: Sequence[int],
    progress: Callable[[int], None] = no_progress,
) -> Iterator[dict[str, Waveform]]:
    """The lines of `read_samples`, 4 Mi samples at a time; each block begins where the last ended.

    Raises CaptureError, perhaps only after some blocks.
    """
    step = _step(rate_hz)
    if not bits or len(set(bits)) != len(bits) or not all(0 <= bit <= 7 for bit in bits):
        raise CaptureError(
            f"the bits {', '.join(map(str, bits)) or '(none)'}",
            fix="give numbers from 0, the lowest of each byte, to 7, each once.",
        )
    count = 0
    with opened(path) as (stream, position):
        while piece := stream.read(_BLOCK):
            data = np.frombuffer(piece, dtype=np.uint8)
            _refuse_packed(path, data)
            changes = data[1:] ^ data[:-1]
            start_ns, end_ns = _time_ns(np.array([count, count + data.size]), rate_hz).tolist()
            lines = {}
            for bit in bits:
                changed = np.flatnonzero(changes & np.uint8(1 << bit)) + (count + 1)
                high = bool(data[0] >> bit & 1)
                times = _time_ns(changed, rate_hz)
                lines[f"bit {bit}"] = Waveform(times, high, start_ns, end_ns, *step)
            count += data.size
            _refuse_too_many(path, count)
            progress(position())
            yield lines
    if not count:
        raise CaptureError("there is no sample", place=path, fix="export the capture again.")


def _step(rate_hz: int) -> Step:
    if not 1 <= rate_hz <= _MOST_HZ:
        raise CaptureError(f"a rate of {rate_hz} Hz", fix="give 1 Hz to 1 GHz.")
    return known_step(_NS / rate_hz, 1.0)


def _refuse_too_many(path: Path | str, count: int) -> None:
    if count > _MOST_SAMPLES:
        raise CaptureError(
            f"over {_MOST_SAMPLES} samples", place=path, fix="capture a shorter time."
        )


def _time_ns(samples: Ints, rate_hz: int) -> Ints:
    """Times of samples by number, int64, to the nearest nanosecond, without overflow."""
    seconds, rest = np.divmod(samples.astype(np.int64), rate_hz)
    times: Ints = seconds * _NS + (rest * _NS + rate_hz // 2) // rate_hz
    return times
