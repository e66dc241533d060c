"""One-wire chips: bytes to the edges of the data line, and edges to the bits a chip takes."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from emulator.description.chips import OneWire
from emulator.signal.frames import LineFrames, frame_stack, frame_starts
from emulator.signal.waveform import Waveform

_BLOCK = 1 << 14  # bytes encoded at a time: the edges of a block (2 MiB) stay in the cache


class Pulses(NamedTuple):
    """The complete high pulses of a line as a one-wire chip sees them.

    rises_ns, falls_ns : int64 (n,). ones : bool (n,), which pulses are a 1. ends : int64, index
    of the pulses before a reset, without the last pulse. before_ns, after_ns : the low before the
    first pulse and after the last, up to the end of the waveform or a cut pulse.
    glitches : changes too short to be seen. cut : pulses cut by the ends of the waveform.
    unsure : pulses within one sampling step of the chip's own threshold. plain : whether the
    pulses form two groups that decide those bits.
    """

    rises_ns: NDArray[np.int64]
    falls_ns: NDArray[np.int64]
    ones: NDArray[np.bool_]
    ends: NDArray[np.int64]
    before_ns: int
    after_ns: int
    glitches: int
    cut: int
    unsure: int
    plain: bool = True

    @property
    def high_ns(self) -> NDArray[np.int64]:
        """How long each pulse is high, int64 (n,)."""
        return self.falls_ns - self.rises_ns

    @property
    def gap_ns(self) -> NDArray[np.int64]:
        """The lows between the pulses, int64 (n - 1,)."""
        return self.rises_ns[1:] - self.falls_ns[:-1]


class Split(NamedTuple):
    """High time from which a pulse is a 1, and for how many pulses that is unsure.

    plain : whether the pulses form two groups that decide those bits; else the bits are unknown.
    """

    least_one_ns: int
    unsure: int = 0
    plain: bool = True


def encode(
    data: NDArray[np.uint8], wire: OneWire, starts_ns: NDArray[np.int64] | int | None = None
) -> Waveform:
    """The waveform that carries frames to a one-wire chip, each bit at its nominal timing.

    Parameters
    ----------
    data : uint8, shape (B,) or (T, B). Bytes on the wire, highest bit first.
    wire : the timing. To send another one than the datasheet's nominal timing, pass a OneWire with
        other nominal values (`dataclasses.replace`).
    starts_ns : int64 (T,), or one number for one frame. First rising edge of each frame; by
        default each begins one reset time after the end of the one before, the first at
        `reset_ns`. [ns]

    Returns
    -------
    Waveform, exact; it covers one reset time before the first frame and one after the last.

    Raises
    ------
    FrameError : data that are not bytes, a missing start time, or frames that overlap.
    """
    frames = frame_stack(data)
    edges_of, length_of = _byte_edges(wire)
    each = length_of[frames]
    length = each.sum(axis=1)
    starts = frame_starts(starts_ns, length, wire.reset_ns)
    begin = (starts[:, None] + np.cumsum(each, axis=1) - each).ravel()
    flat = frames.ravel()
    edges = np.empty((flat.size, edges_of.shape[1]), dtype=np.int64)
    for first in range(0, flat.size, _BLOCK):
        block = edges[first : first + _BLOCK]
        np.take(edges_of, flat[first : first + _BLOCK], axis=0, out=block, mode="clip")
        block += begin[first : first + _BLOCK, None]
    first_ns = int(starts[0]) if starts.size else wire.reset_ns
    last_ns = int(starts[-1] + length[-1]) if starts.size else wire.reset_ns
    return Waveform(edges.ravel(), False, first_ns - wire.reset_ns, last_ns + wire.reset_ns)


@lru_cache(maxsize=64)
def _byte_edges(wire: OneWire) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """The edges (256, 16) of each byte value, from its start, and its duration (256,). [ns]"""
    ones = np.unpackbits(np.arange(256, dtype=np.uint8)[:, None], axis=1).astype(bool)
    high = np.where(ones, wire.t1h.nominal, wire.t0h.nominal).astype(np.int64)
    zero_ns, one_ns = wire.bit_ns
    period = np.where(ones, one_ns, zero_ns).astype(np.int64)
    end = np.cumsum(period, axis=1)
    rise = end - period
    return np.stack([rise, rise + high], axis=2).reshape(256, 16), end[:, -1].copy()


def glitch_ns(wire: OneWire, margin_ns: float = 0) -> int:
    """A chip is assumed to miss changes shorter than this: half the shortest legal high pulse.

    No source: the datasheets do not say which pulses a chip misses. A pulse that may be legal, with
    a sampling error of `margin_ns`, never counts as a glitch.
    """
    legal_ns = min(span.least for span in (wire.t0h, wire.t0l, wire.t1h, wire.t1l))
    return max(min(wire.t0h.least // 2, math.floor(legal_ns - margin_ns)), 0)


def pulses(waveform: Waveform, wire: OneWire) -> Pulses:
    """The pulses of a line as a one-wire chip sees them, without glitches and cut pulses."""
    edges = waveform.edges_ns
    begins_high, ends_high = waveform.first_level, waveform.last_level
    rises, falls = waveform.pulses()
    if not rises.size:
        none = np.zeros(0, dtype=np.int64)
        cut = begins_high + ends_high if edges.size else int(begins_high)
        return Pulses(none, none, none.astype(bool), none, 0, 0, 0, cut, 0)
    # High times and gaps are not needed together: only one of them is in memory at a time.
    high = falls - rises
    split = threshold_ns(high, wire, math.ceil(waveform.margin_ns))
    ones = high >= split.least_one_ns
    shortest = min(high.min(), edges[1] - edges[0], edges[-1] - edges[-2])
    del high
    gap = rises[1:] - falls[:-1]
    least_ns = glitch_ns(wire, waveform.margin_ns)
    if min(shortest, gap.min(initial=shortest)) < least_ns:
        clean, glitches = waveform.without_glitches(least_ns)
        return pulses(clean, wire)._replace(glitches=glitches)
    return Pulses(
        rises,
        falls,
        ones,
        np.flatnonzero(gap >= wire.reset_ns),
        int(rises[0]) - (int(edges[0]) if begins_high else waveform.start_ns),
        (int(edges[-1]) if ends_high else waveform.end_ns) - int(falls[-1]),
        0,
        begins_high + ends_high,
        split.unsure,
        split.plain,
    )


def threshold_ns(high_ns: NDArray[np.int64], wire: OneWire, margin_ns: int) -> Split:
    """High time from which a pulse is taken for a 1, and for how many pulses that is unsure.

    high_ns : int64 (n,), high times of one line. [ns]

    In an exact waveform this is the chip's own `wire.threshold_ns`, and no pulse is unsure. In a
    sampled one, pulses near that threshold may be a 0 or a 1: those within one step (`margin_ns`),
    or within the threshold itself if that is less. A steady pulse reads as one of two neighbouring
    numbers of samples, so the 0s and the 1s of a controller form two groups. The line is split
    within that distance of the chip's threshold, so that the wider group is as narrow as possible;
    of equal splits the nearest to the chip's threshold counts. If all pulses of a line are within
    one step, they are one symbol, and their mean decides which.

    Two groups are plain if each spans at most two steps and their middles are at least half the
    difference of the nominal times apart. A quarter is enough in two cases: this is the only split
    into groups of at most one step, as steady pulses make them; or the space between the groups is
    wider than each of them and than one and a half steps. If no split is plain, the pulses are not
    steady: the chip's own threshold applies, and the bits of those pulses are unknown.
    """
    chips = wire.threshold_ns
    if not margin_ns:
        return Split(chips)
    reach = min(margin_ns, chips)
    floor, ceiling = chips - reach, chips + reach
    # Counting the few values that occur is much faster than sorting all pulses.
    counts = np.bincount(np.clip(high_ns, floor, ceiling) - floor, minlength=2 * reach + 1)
    near = np.flatnonzero(counts[1:-1]) + floor + 1
    unsure = int(counts[1:-1].sum())
    if not unsure:
        return Split(chips)
    least, most = int(high_ns.min()), int(high_ns.max())
    if most - least <= margin_ns:
        return Split(least if high_ns.mean() >= chips else most + 1, unsure)
    below = int(np.where(high_ns <= floor, high_ns, least).max())
    above = int(np.where(high_ns >= ceiling, high_ns, most + 1).min())
    last_zero, first_one = np.append(below, near), np.append(near, above)
    wider = np.maximum(last_zero - least, most - first_one)
    middle = (last_zero + first_one + 1) // 2
    best = int(np.lexsort((np.abs(middle - chips), wider))[0])
    apart_ns = (first_one[best] + most - least - last_zero[best]) / 2
    nominal_ns = wire.t1h.nominal - wire.t0h.nominal
    as_meant = wider[best] <= 2 * margin_ns and 2 * apart_ns >= nominal_ns
    only_one = np.count_nonzero(wider <= margin_ns) == 1
    far = first_one[best] - last_zero[best] > max(wider[best], 1.5 * margin_ns)
    if as_meant or ((only_one or far) and 4 * apart_ns >= nominal_ns):
        return Split(int(middle[best]), unsure)
    return Split(chips, unsure, False)


def decode(waveform: Waveform, wire: OneWire, seen: Pulses | None = None) -> LineFrames:
    """The frames a one-wire chip takes from a line. seen : its pulses, if they are known already.

    A high pulse of the threshold (see `threshold_ns`) or more is a 1, a shorter one a 0. A low of
    `wire.reset_ns` or more ends a frame. A shorter pause does not, as for the chip: a frame sent
    too early continues the one before. The first frame may be cut unless a whole reset time of low
    precedes it, the last one unless one follows. Every waveform can be decoded: pulses cut by its
    ends and glitches (see `glitch_ns`) are left out and counted.
    """
    seen = pulses(waveform, wire) if seen is None else seen
    some = seen.ones.size > 0
    offsets = np.concatenate([[0] * some, seen.ends + 1, [seen.ones.size]]).astype(np.int64)
    return LineFrames(
        bits=seen.ones.view(np.uint8),
        offsets=offsets,
        start_ns=seen.rises_ns[offsets[:-1]],
        end_ns=seen.falls_ns[offsets[1:] - 1],
        first_cut=some and seen.before_ns < wire.reset_ns,
        last_cut=some and seen.after_ns < wire.reset_ns,
        glitches=seen.glitches,
        stray=seen.cut,
        unsure=seen.unsure,
        plain=seen.plain,
    )
