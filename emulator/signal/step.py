"""The sampling step behind the times of a capture, also where the file rounds its times.

A logic analyser looks at its lines at a steady rate, so every time it writes is a whole number of
steps from every other. Where the step is a whole number of the file's ticks, it is their greatest
common divisor. Where it is not (24 MHz is 41.667 ns, written as 41, 42, 42), that divisor is 1,
and would pass for a capture exact to the tick. So the step is sought as a real number: a lattice
of times `a + s·k` that every time differs from by no more than its rounding to a whole tick, floor
or nearest alike. The largest such step counts, which errs towards 'cannot tell'.

A controller's own clock makes a lattice, too: at 100 MHz, edges 50 ns apart look like steps of
50 ns rounded to 10. But the analyser's time is its own measure, so its step is a round number (of
kHz, or of four digits of ns) to within what the capture can show; the controller's is some parts in
a million off. Only round steps count, and whole multiples of one. A controller's lattice mostly
ends with its frame, too: the next begins at any time.

Candidates are the peaks of the spectrum of the times: on a lattice of step s all times have one
phase at the frequency 1/s (the periodogram of a point process; M. S. Bartlett, The spectral
analysis of point processes, J. R. Statist. Soc. B 25, 1963, from memory). Each is then fitted by
least squares over a growing stretch, and dropped where a time does not fit.

What cannot be found: a step of less than about two ticks of rounding, which leaves hardly a trace
in the times. So where a file has coarse ticks and no lattice, the step may be two of them. A rate
that is no whole number of kHz is missed. And a simulator whose clock is slow looks like a sampler:
only `--rate` can tell.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Ticks = NDArray[np.int64]

_ENOUGH = 64  # times from which a common divisor of many ticks is no coincidence
_NO_CHANCE = 32  # rounded times are all even once in 2^32
_MOST = 1 << 14  # times of a block that a lattice is fitted to
_BINS = 1 << 16  # of the stretch whose spectrum is taken, at most
_PADDING = 4  # so that a peak lies at most 1/8 turn a stretch from a line of the spectrum
_COHERENT = 0.45  # least share of the times in phase: sinc of a rounding of 0.6 steps is 0.5
_CANDIDATES = 400
_SPREAD = 1.01  # ticks: rounding spreads times by 1; the search ends a little above
_TWICE = 1.15  # so much where some times were rounded to a tenth of a tick before
_HIDDEN = 2  # ticks: a step up to this long may leave no trace
_COARSE_NS = 10  # from this tick on a step may hide behind it; finer files are taken as exact
_ROUND_HZ = 1000  # analysers' rates are multiples of this
_DIGITS = 4  # or their steps have no more digits in ns
_EXACT = 2e-6  # of a step: nearer a round number than the clocks of two devices are to each other


class Step(NamedTuple):
    """A sampling step, and the most by which rounding of times alters an interval. [ns]"""

    step_ns: float
    rounding_ns: float


class StepFinder:
    """Finds the step behind times in whole ticks of `tick_ns` that come in blocks."""

    def __init__(self, tick_ns: float = 1.0) -> None:
        self._tick_ns = tick_ns
        self._first: int | None = None
        self._divisor = 0
        self._count = 0
        self._rounded = 1
        self._edges = False
        self._few: Ticks = np.zeros(0, dtype=np.int64)  # too few so far to tell by themselves
        self._lattice: float | None = math.inf  # the smallest of all blocks; None: there is none

    def take(self, ticks: Ticks, rounded: int = 1, edges: bool = False) -> None:
        """Note more times, int64 (n,), rising or not, all after those before.

        rounded: multiples of how many ticks the file has room for, at its coarsest. edges: at
        each of them a line changes, as it need not where a file has every sample.
        """
        if not ticks.size:
            return
        self._rounded = max(self._rounded, rounded)
        self._edges = edges
        self._count += ticks.size
        if self._first is None:
            self._first = int(ticks.min())
        self._divisor = int(np.gcd.reduce(ticks - self._first, initial=self._divisor))
        times = np.union1d(self._few, ticks)
        self._few = times[:0] if times.size >= _ENOUGH else times
        if times.size >= _ENOUGH and self._lattice is not None and not self._divisor_tells:
            self._lattice = _least(self._lattice, self._sought(times))

    @property
    def _divisor_tells(self) -> bool:
        """Whether the common divisor is of no size that rounding could bring about."""
        ratio = self._divisor // self._tick
        return ratio >= 10 or (ratio >= 2 and self._count >= _NO_CHANCE)

    @property
    def _tick(self) -> int:
        """How many ticks times may be rounded to multiples of."""
        return max(_tick(self._divisor), self._rounded)

    def _sought(self, times: Ticks) -> float | None:
        tick = self._tick
        spread = _SPREAD if self._divisor % tick == 0 else _TWICE
        found = lattice(times, tick, self._tick_ns * tick, spread, self._edges)
        return None if found is None else found * tick

    def step_ns(self) -> Step:
        """The step so far. The rounding is 0 where the step is a whole number of ticks."""
        divisor = max(self._divisor, 1)
        found = None if self._divisor_tells else self._lattice
        if found == math.inf:  # no block was large enough
            found = self._sought(self._few)
        if found is not None and found * self._tick_ns <= 1:
            found = None
        rounding_ns = self._tick * self._tick_ns
        coarse_ns = self._rounded * self._tick_ns
        if found is None or found <= 1.01 * divisor:
            step = known_step(divisor * self._tick_ns, 1.0)
            # Behind coarse ticks, another step may hide.
            if coarse_ns >= _COARSE_NS and step.step_ns < 1.01 * coarse_ns:
                return Step(_HIDDEN * coarse_ns, coarse_ns)
            return step
        # Edges are read to 1 ns, however fine the ticks.
        return Step(found * self._tick_ns, max(rounding_ns, 1.0))


def known_step(step_ns: float, tick_ns: float) -> Step:
    """A step that is known, for times in ticks of `tick_ns`, of which edges are read to 1 ns.

    Where it is no whole number of ticks, rounding alters an interval by up to one of them. A step
    of 1 ns or less stands for times exact to the nanosecond.
    """
    if step_ns <= 1:
        return Step(1, 0)
    tick_ns = max(tick_ns, 1.0)
    ticks = step_ns / tick_ns
    whole = math.isclose(ticks, max(round(ticks), 1), rel_tol=1e-9)
    return Step(step_ns, 0 if whole else tick_ns)


def lattice(
    times: Ticks,
    tick: int = 1,
    tick_ns: float = 1.0,
    spread: float = _SPREAD,
    edges: bool = False,
) -> float | None:
    """The largest round step of a lattice that times fit, in ticks; None where there is none.

    times: int64 (n,), strictly rising, each off by its rounding to a multiple of `tick` (from the
    first). Of many, those about the place where they lie densest are fitted. tick_ns: how long
    such a tick lasts. spread: ticks by which rounding may spread times. edges: they are those of
    edges only, so that a clock can be told from samples.
    """
    if times.size < 3:
        return None
    begin = max(0, min(_densest(times, _BINS * tick).start, times.size - _MOST))
    ticks = (times[begin : begin + _MOST] + tick // 2) // tick
    ticks = np.unique(ticks) - ticks[0]
    if ticks.size < 3:
        return None
    gaps = np.diff(ticks)
    # Coarse enough that the shortest gap, which is at least a step, is some hundreds of bins.
    width = max(1, int(gaps.min()) // 256)
    stretch = ticks[_densest(ticks, _BINS * width)]
    position = (stretch - stretch[0]) // width
    padded = _PADDING << int(position[-1]).bit_length()
    spectrum = np.fft.rfft(np.bincount(position), padded)
    power = np.abs(spectrum) / position.size
    peak = (power[1:-1] >= power[:-2]) & (power[1:-1] > power[2:]) & (power[1:-1] > _COHERENT)
    # A step is no longer than the shortest gap, give or take one rounding.
    lowest = padded * width / (int(gaps.min()) + 1.5) - 1
    lines = np.flatnonzero(peak) + 1
    widest = None
    for line in lines[lines >= lowest][:_CANDIDATES]:
        frequency = line / padded / width  # turns a tick
        phase = float(np.angle(spectrum[line])) / (2 * math.pi)
        step = _fitted(ticks, stretch, frequency, phase, spread)
        if step is None or (edges and gaps.size >= _ENOUGH and _is_a_clock(gaps, step)):
            continue
        widest = widest or step
        if _is_round(step, tick_ns, int(ticks[-1])):
            # Of a round step no controller is a whole multiple, so that one is the step.
            multiple = widest / step
            whole = abs(multiple / round(multiple) - 1) <= max(_EXACT, 1 / int(ticks[-1]))
            return widest if whole else step
    return None


def _is_a_clock(gaps: Ticks, step: float) -> bool:
    """Whether most gaps are one step and none are two: a clock, not what samples it.

    No sampler reads a clock of one sample a level; it would now and then miss a change.
    """
    steps = np.rint(gaps / step)
    return bool(2 * np.count_nonzero(steps == 1) > steps.size and not (steps == 2).any())


def _is_round(step: float, tick_ns: float, span: int) -> bool:
    """Whether a step, fitted over so many ticks, may be an analyser's: round in Hz or in ns."""
    off = max(_EXACT, 1 / span)
    step_ns = step * tick_ns
    digit_ns = 10.0 ** (math.floor(math.log10(step_ns)) + 1 - _DIGITS)
    for unit, measure in ((_ROUND_HZ, 1e9 / step_ns), (digit_ns, step_ns)):
        nearest = max(round(measure / unit), 1) * unit
        if abs(measure / nearest - 1) <= off:
            return True
    return False


def _least(one: float, other: float | None) -> float | None:
    return None if other is None else min(one, other)


def _tick(divisor: int) -> int:
    """What a writer may have rounded times with this common divisor to: it, if 1, 10, 100 …"""
    return divisor if str(divisor).strip("0") == "1" else 1


def _densest(ticks: Ticks, length: int) -> slice:
    """The times within the stretch of `length` ticks that holds most of them."""
    ends = np.searchsorted(ticks, ticks + length)
    begin = int((ends - np.arange(ticks.size)).argmax())
    return slice(begin, int(ends[begin]))


def _fitted(
    ticks: Ticks, stretch: Ticks, frequency: float, phase: float, spread: float
) -> float | None:
    """The step of a candidate, fitted to a stretch of the times and then to more and more of them.

    None where one is off. It ends at gaps too long to carry the count of steps across: a step
    fitted over a stretch is off by about a tick in its length, and must stay sure to a quarter.
    """
    origin = int(stretch[0])
    low = int(np.searchsorted(ticks, origin))
    high = low + stretch.size
    offset = stretch - origin
    number = np.rint(offset * frequency + phase)
    while True:
        step, start = _narrowest(number, offset, spread)
        if step is None:
            return None
        length, before = int(ticks[high - 1] - ticks[low]), (low, high)
        reach = int(length * max(step, 2) / 4) + 1
        low = int(np.searchsorted(ticks, ticks[low] - reach))
        high = int(np.searchsorted(ticks, ticks[high - 1] + reach, side="right"))
        if (low, high) == before:
            return step
        offset = ticks[low:high] - origin
        number = np.rint((offset - start) / step)


def _narrowest(
    number: NDArray[np.float64], offset: Ticks, widest: float
) -> tuple[float | None, float]:
    """Slope and middle of the narrowest band about (number, offset); None if wider than that.

    The width of the band is a convex function of its slope, so it is searched by thirds, from
    the line of least squares.
    """
    middle = number.mean()
    spread = number - middle
    square = float(spread @ spread)
    if square == 0:
        return None, 0.0
    slope = float(spread @ (offset - offset.mean())) / square

    def edges(at: float) -> tuple[float, float]:
        residual = offset - at * number
        return float(residual.min()), float(residual.max())

    low, high = edges(slope)
    if slope <= 1.5 or high - low > 3:
        return None, 0.0
    reach = 2 / (float(number[-1] - number[0]) or 1.0)
    least, most = slope - reach, slope + reach
    while high - low > widest and most - least > 0.01 * reach:
        one, two = least + (most - least) / 3, most - (most - least) / 3
        (low, high), other = edges(one), edges(two)
        if other[1] - other[0] < high - low:
            least, (low, high), slope = one, other, two
        else:
            most, slope = two, one
    return (slope if high - low <= widest else None), (low + high) / 2
