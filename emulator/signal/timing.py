"""The timing found on a line, judged against what the chip accepts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from emulator.description.chips import Clocked, OneWire
from emulator.signal.onewire import Pulses, pulses
from emulator.signal.waveform import Waveform

TimingVerdict = Literal["pass", "fail", "cannot tell"]

# After a low of this length or more, a controller may have meant a new frame; a shorter low is a
# slow bit. Common practice, no source: refilling a buffer takes a few microseconds.
PAUSE_NS = 5_000
_MOST_COUNTED = 1 << 15  # ns: longer times are sorted instead


@dataclass(frozen=True)
class Symbol:
    """The measured times of one symbol, and its tolerance; all times in ns.

    least_ns, most_ns : what the chip accepts; None: without limit. median_ns : the lower median.
    mean_ns : closer to the truth than one time, if there are many and the sampling phase drifts.
    The measured figures are None if the symbol was not seen (`count` 0).
    """

    name: str
    least_ns: int
    most_ns: int | None
    count: int
    min_ns: int | None
    median_ns: int | None
    max_ns: int | None
    mean_ns: float | None
    verdict: TimingVerdict


@dataclass(frozen=True)
class Timing:
    """The timing of one line. All symbols of the chip are listed, also those not seen.

    resolution_ns, margin_ns : as in the waveform; a margin of 0 is exact. early : frames that
    certainly came before the reset time had passed. glitches : pulses or gaps too short for any
    symbol.
    """

    symbols: tuple[Symbol, ...]
    resolution_ns: float
    margin_ns: float = 0
    early: int = 0
    glitches: int = 0

    @property
    def verdict(self) -> TimingVerdict:
        """'fail' if any symbol seen fails or there are glitches, 'pass' if all seen pass."""
        seen = {symbol.verdict for symbol in self.symbols if symbol.count}
        if "fail" in seen or self.glitches:
            return "fail"
        return "pass" if seen == {"pass"} else "cannot tell"


def judge(waveform: Waveform, wire: OneWire, seen: Pulses | None = None) -> Timing:
    """Judge the line of a one-wire chip: T0H, T0L, T1H, T1L, and the low that resets.

    seen : its pulses, if they are known already.

    With a margin r a measured m means that the true time is from m - r to m + r. A symbol passes if
    no such range leaves its tolerance, and fails if any range is wholly outside. Otherwise the
    verdict is 'cannot tell', also if range and tolerance only touch: the sampling clock has an
    error of its own. At r = 0 the measured time is the true one. The mean of many pulses decides
    nothing: it is the mean of the true times only if the sampling phase drifts evenly, and it may
    hide one pulse out of tolerance.

    A pulse within a margin of the chip's threshold may be a 0 or a 1, however
    `onewire.threshold_ns` splits the line. It and the low after it do not count against the symbol
    they were taken for, unless the pulse is neither.

    The low before a reset is neither T0L nor T1L. The same goes for a low that is too short for a
    reset, follows a whole number of bytes, and is longer than `PAUSE_NS` and than T0L and T1L may
    last. It counts as a reset that is too short, because the frame after it came early. The line
    alone does not show whether the controller meant a new frame.

    Pulses and lows cut by the ends of the waveform are not judged.
    """
    seen, r = pulses(waveform, wire) if seen is None else seen, waveform.margin_ns
    high, gap, ones = seen.high_ns, seen.gap_ns, seen.ones
    early = _early(gap, seen.ends, wire)
    is_bit = np.ones(gap.size, dtype=bool)
    is_bit[seen.ends] = is_bit[early] = False
    plain = not (seen.ends.size or early.size)
    low, after_one = (gap, ones[:-1]) if plain else (gap[is_bit], ones[:-1][is_bit])
    t0h, t1h = _told_apart(high, ones)
    t0l, t1l = _told_apart(low, after_one)
    sure_high = sure_low = None
    if r:
        near = np.abs(high - wire.threshold_ns) < r
        neither = (high - r > wire.t0h.most) & (high + r < wire.t1h.least)
        sure, after = ~near | neither, ~near[:-1][is_bit]
        sure_high = _told_apart(high[sure], ones[sure])
        sure_low = _told_apart(low[after], after_one[after])
    too_early = gap[early] + r < wire.reset_ns
    resets = _counted(gap[:0] if plain else gap[~is_bit])
    return Timing(
        symbols=(
            _symbol("T0H", wire.t0h.least, wire.t0h.most, t0h, r, sure_high and sure_high[0]),
            _symbol("T0L", wire.t0l.least, wire.t0l.most, t0l, r, sure_low and sure_low[0]),
            _symbol("T1H", wire.t1h.least, wire.t1h.most, t1h, r, sure_high and sure_high[1]),
            _symbol("T1L", wire.t1l.least, wire.t1l.most, t1l, r, sure_low and sure_low[1]),
            _symbol("reset", wire.reset_ns, None, resets, r),
        ),
        resolution_ns=waveform.resolution_ns,
        margin_ns=r,
        early=int(np.count_nonzero(too_early)),
        glitches=seen.glitches,
    )


class _Times(NamedTuple):
    """Measured times: the values that occur, rising, and how often each occurs."""

    values: NDArray[np.int64]
    counts: NDArray[np.int64]


def _counted(times_ns: NDArray[np.int64]) -> _Times:
    return _Times(*np.unique(times_ns, return_counts=True))


def _told_apart(times_ns: NDArray[np.int64], ones: NDArray[np.bool_]) -> tuple[_Times, _Times]:
    """The times (n,) of 0s and those of 1s. A controller makes few different ones: count them."""
    if times_ns.max(initial=0) >= _MOST_COUNTED:
        return _counted(times_ns[~ones]), _counted(times_ns[ones])
    key = times_ns * 2
    key += ones
    counts = np.bincount(key)
    counts = np.append(counts, 0) if counts.size % 2 else counts
    counts = counts.reshape(-1, 2)
    values = np.flatnonzero(counts.any(axis=1))
    zero, one = (np.ascontiguousarray(counts[values, which]) for which in (0, 1))
    return _Times(values[zero > 0], zero[zero > 0]), _Times(values[one > 0], one[one > 0])


def _early(gap_ns: NDArray[np.int64], ends: NDArray[np.int64], wire: OneWire) -> NDArray[np.int64]:
    """Index of the lows that are too short for a reset but look like the start of a new frame.

    ends : index of the lows that are a reset.
    """
    pause = max(PAUSE_NS, wire.t0l.most, wire.t1l.most)
    if gap_ns.max(initial=0) <= pause:
        return ends[:0]
    long = np.flatnonzero((gap_ns > pause) & (gap_ns < wire.reset_ns))
    frame_begins = np.concatenate([[0], ends + 1])
    begin = frame_begins[np.searchsorted(frame_begins, long, side="right") - 1]
    early: NDArray[np.int64] = long[(long + 1 - begin) % 8 == 0]
    return early


def judge_clock(clock: Waveform, wire: Clocked) -> Timing:
    """Judge the clock of clocked chips: no clock period too short, and the rest that latches.

    'clock' is the time between rising edges; except for a rest it has no upper limit. 'rest' is
    listed only for chips that latch on it. The range of a measured time is as in `judge`. Data
    set-up and hold times are not judged.
    """
    r, resolution_ns = clock.margin_ns, clock.resolution_ns
    period = np.diff(clock.rises_ns)
    shortest = -(-1_000_000_000 // wire.most_hz)
    if wire.latch != "rest":
        return Timing((_symbol("clock", shortest, None, _counted(period), r),), resolution_ns, r)
    falls = clock.falls_ns[int(clock.first_level) :][: period.size]
    low = clock.rises_ns[1:] - falls
    rests = low >= wire.rest_ns
    return Timing(
        (
            _symbol("clock", shortest, None, _counted(period[~rests]), r),
            _symbol("rest", wire.rest_ns, None, _counted(low[rests]), r),
        ),
        resolution_ns,
        r,
    )


def _symbol(
    name: str,
    least: int,
    most: int | None,
    times: _Times,
    margin_ns: float,
    sure: _Times | None = None,
) -> Symbol:
    """One symbol; sure: its times that cannot belong to another symbol; None: all of them."""
    values, counts = times
    if not values.size:
        return Symbol(name, least, most, 0, None, None, None, None, "cannot tell")
    low, high, count = int(values[0]), int(values[-1]), int(counts.sum())
    middle = int(values[np.searchsorted(np.cumsum(counts), (count - 1) // 2, side="right")])
    verdict = _verdict(low, high, least, most, margin_ns)
    if sure is not None and sure.counts.sum() < count:
        proven = sure.values.size and (
            _verdict(int(sure.values[0]), int(sure.values[-1]), least, most, margin_ns) == "fail"
        )
        verdict = "fail" if proven else "cannot tell"
    mean = float(values @ counts) / count
    return Symbol(name, least, most, count, low, middle, high, mean, verdict)


def _verdict(low: int, high: int, least: int, most: int | None, margin_ns: float) -> TimingVerdict:
    """Verdict on measured times from `low` to `high`; the two ends decide for all between."""
    if low + margin_ns < least or (most is not None and high - margin_ns > most):
        return "fail"
    inside = low - margin_ns >= least and (most is None or high + margin_ns <= most)
    return "pass" if inside else "cannot tell"
