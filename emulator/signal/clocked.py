"""Chips with a clock line: bytes to the edges of clock and data, and edges to bits."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from emulator.description.chips import Clocked
from emulator.errors import FrameError
from emulator.signal.frames import LineFrames, frame_stack, frame_starts
from emulator.signal.framing import START_BYTES, zero_bytes
from emulator.signal.waveform import Waveform

_START_BITS = 8 * START_BYTES
_LED_BITS = 32  # APA102 datasheet: 111, 5 bits of intensity, then three bytes


def encode(
    data: NDArray[np.uint8],
    clock_hz: float,
    starts_ns: NDArray[np.int64] | int | None = None,
    rest_ns: int = 0,
) -> tuple[Waveform, Waveform]:
    """The clock and the data waveform that carry frames to clocked chips.

    Parameters
    ----------
    data : uint8, shape (B,) or (T, B). Bytes on the data line with start and end frames
        (`framing.frame_bytes`), highest bit first.
    clock_hz : bits a second, up to 500 MHz; the bit time is rounded to whole nanoseconds. [Hz]
    starts_ns : int64 (T,), or one number for one frame. Start of each frame, which is half a
        bit before its first rising clock edge; default: one after the other. [ns]
    rest_ns : low clock before, after, and by default between frames; at least one bit. [ns]

    Returns
    -------
    (clock, data), both exact. Data changes at the start of a bit; the clock rises in its middle
    and falls at its end. Between frames the clock rests low and data keeps its last level.

    Raises
    ------
    FrameError : data that are not bytes, a clock not above 0 and up to 500 MHz, overlapping frames.
    """
    frames = frame_stack(data)
    if not 0 < clock_hz <= 500e6:
        raise FrameError(f"a clock of {clock_hz} Hz", fix="give more than 0, at most 500 MHz.")
    bit_ns = round(1e9 / clock_hz)
    rest_ns = max(rest_ns, bit_ns)
    count, bits_each = len(frames), 8 * frames.shape[1]
    length = np.full(count, bits_each * bit_ns, dtype=np.int64)
    starts = frame_starts(starts_ns, length, rest_ns)
    begins = (starts[:, None] + np.arange(bits_each) * bit_ns).ravel()
    clock = np.stack([begins + bit_ns // 2, begins + bit_ns], axis=1).ravel()
    levels = np.unpackbits(frames)
    changes = np.flatnonzero(levels != np.concatenate([[0], levels[:-1]])[: levels.size])
    first_ns = int(starts[0]) - rest_ns if count else 0
    last_ns = int(starts[-1] + length[-1]) + rest_ns if count else rest_ns
    return (
        Waveform(clock, False, first_ns, last_ns),
        Waveform(begins[changes], False, first_ns, last_ns),
    )


def decode(clock: Waveform, data: Waveform, wire: Clocked) -> LineFrames:
    """The frames clocked chips take from a pair of lines: data just before each rising clock.

    If the chip latches on rest, a low clock of `wire.rest_ns` or more ends a frame. The first and
    the last frame may be cut unless such a rest comes before or after them.

    If the chip has an end frame, a frame begins with its start frame (the 32 zero bits before the
    first 1 after at least 32 zeros) and ends where the next begins. Pauses of the clock do not
    matter. Bits before the first start frame are a cut frame, or stray if all are zero. The last
    frame is cut if fewer than n/2 bits follow its n LEDs. Ones that could be an LED at full or an
    end frame count as an end frame here.

    If zero bytes latch, a frame begins with a 1 after 8 or more zeros, which no byte of an LED
    contains, and ends where the next begins. So the first frame may be cut, and the last one may
    be cut if it lacks its zero bytes.

    Every pair of waveforms can be decoded. A bit is unsure if the data change within the margin of
    a sampled clock's rise.
    """
    rises, falls = clock.rises_ns, clock.falls_ns[int(clock.first_level) :]
    bits = data.levels_before(rises)
    fall_after = np.append(falls, clock.end_ns)[: rises.size]  # the last clock may still be high
    if wire.latch == "rest":
        offsets, first_cut, last_cut = _by_rest(clock, fall_after, wire.rest_ns)
    elif wire.latch == "zero bytes":
        offsets, first_cut, last_cut = _by_zero_bytes(bits)
    else:
        offsets, first_cut, last_cut = _by_start_frame(bits)
    margin_ns = clock.margin_ns
    changes = np.append(data.edges_ns, np.iinfo(np.int64).max)
    near = changes[np.searchsorted(data.edges_ns, rises - margin_ns, side="right")]
    stray = int(offsets[0]) if offsets.size > 1 else bits.size
    return LineFrames(
        bits=bits[stray:],
        offsets=offsets - offsets[0],
        start_ns=rises[offsets[:-1]],
        end_ns=fall_after[offsets[1:] - 1],
        first_cut=first_cut,
        last_cut=last_cut,
        stray=stray,
        unsure=int(np.count_nonzero(near < rises + margin_ns)),
    )


def _by_rest(
    clock: Waveform, fall_after: NDArray[np.int64], rest_ns: int
) -> tuple[NDArray[np.int64], bool, bool]:
    """Frame offsets (F + 1,) from the clock's rests, and whether the first and last are cut."""
    rises = clock.rises_ns
    if not rises.size:
        return np.zeros(1, dtype=np.int64), False, False
    ends = np.flatnonzero(rises[1:] - fall_after[:-1] >= rest_ns) + 1
    low_from = int(clock.edges_ns[0]) if clock.first_level else clock.start_ns
    first_cut = int(rises[0]) - low_from < rest_ns
    last_cut = clock.last_level or clock.end_ns - int(fall_after[-1]) < rest_ns
    return np.concatenate([[0], ends, [rises.size]]), first_cut, last_cut


def start_frames(bits: NDArray[np.uint8]) -> NDArray[np.int64]:
    """Where start frames begin in bits (n,): 32 bits before a 1 that follows at least 32 zeros."""
    ones = np.flatnonzero(bits)
    zeros_ahead = np.diff(ones, prepend=-1) - 1
    begins: NDArray[np.int64] = ones[zeros_ahead >= _START_BITS] - _START_BITS
    return begins


def after_zero_bytes(bits: NDArray[np.uint8]) -> NDArray[np.int64]:
    """Where frames begin in bits (n,): at each 1 after 8 or more zeros."""
    ones = np.flatnonzero(bits)
    begins: NDArray[np.int64] = ones[np.diff(ones, prepend=-1) > 8]
    return begins


def _by_zero_bytes(bits: NDArray[np.uint8]) -> tuple[NDArray[np.int64], bool, bool]:
    """Frame offsets (F + 1,) after zero bytes, and whether the first and last are cut."""
    begins = after_zero_bytes(bits)
    ones = np.flatnonzero(bits)
    if not ones.size:
        return np.zeros(1, dtype=np.int64), False, False
    first_cut = not begins.size or int(begins[0]) != int(ones[0])
    if first_cut:
        begins = np.concatenate([ones[:1], begins])
    body = (int(ones[-1]) - int(begins[-1])) // 8 + 1  # bytes up to the byte with the last 1
    rest = (bits.size - int(begins[-1])) // 8 - body
    last_cut = rest < max(1, zero_bytes(body // 3))
    return np.append(begins, bits.size), first_cut, last_cut


def _by_start_frame(bits: NDArray[np.uint8]) -> tuple[NDArray[np.int64], bool, bool]:
    """Frame offsets (F + 1,) at the start frames, and whether the first and last are cut."""
    if not bits.any():
        return np.zeros(1, dtype=np.int64), False, False
    begins = start_frames(bits)
    first_cut = not begins.size or bool(bits[: begins[0]].any())
    if first_cut:
        begins = np.concatenate([[0], begins])
    only_cut = first_cut and begins.size == 1  # bits out of step, so its end is unknown
    last_cut = only_cut or not _has_ended(bits[begins[-1] + _START_BITS :])
    return np.append(begins, bits.size), first_cut, last_cut


def _has_ended(body: NDArray[np.uint8]) -> bool:
    """Whether the bits after a start frame hold whole LEDs and an end frame of n/2 bits."""
    words = body[: body.size - body.size % _LED_BITS].reshape(-1, _LED_BITS)
    marked = words[:, :3].all(axis=1)
    leds = len(words) if marked.all() else int(marked.argmin())
    not_full = np.flatnonzero(~words[:leds].all(axis=1))
    leds_for_sure = int(not_full[-1]) + 1 if not_full.size else 0
    tail = body[leds * _LED_BITS :]
    within_led = tail[:3].all() and not tail.all()
    return not within_led and 2 * (body.size - leds_for_sure * _LED_BITS) >= leds_for_sure
