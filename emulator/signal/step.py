"""The sampling step behind the times of a capture, also where the file rounds its times.

A logic analyser samples its lines at a steady rate. So all the times it writes differ by whole
numbers of steps. If the step is a whole number of the file's ticks, it is the greatest common
divisor of those differences. If it is not (24 MHz is 41.667 ns, written as 41, 42, 42), that
divisor is what the times were rounded to, and the capture would look as exact as that. So this
module looks for a real number: the step s of a lattice of times `a + s·k` from which every time
differs by no more than rounding (floor or nearest). The lattice found may itself be of rounded
times, so a coarser lattice is looked for behind it. The largest step counts, so a verdict errs
towards 'cannot tell'.

A controller's own clock makes a lattice, too: at 100 MHz, edges 50 ns apart look like steps of
50 ns rounded to 10. There are three differences. A sampler reads a steady pulse as one of two
neighbouring numbers of steps; a controller makes the same number of its own clocks each time. An
analyser measures time by its own clock, so its step is mostly a round number (of kHz, or of four
digits of ns), as far as the capture can show; a controller's step is some parts in a million off.
And a controller's lattice mostly ends with its frame: the next frame begins at any time.

Candidates are the peaks of the spectrum of the times: on a lattice of step s all times have one
phase at the frequency 1/s (the periodogram of a point process; M. S. Bartlett, The spectral
analysis of point processes, J. R. Statist. Soc. B 25, 1963, from memory). Each candidate is then
fitted by least squares over a growing stretch. It is dropped if a time does not fit, or if so few
times may be so near to a lattice by chance.

A step that is hardly longer than the rounding, or shorter, cannot be found. If all times are
multiples of 10 or 100 ns and show no lattice, such a step may be hidden, so it counts. Multiples
of another number are taken for the samples themselves. A simulator with a slow clock looks like a
sampler: only `--rate` makes the difference.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Ticks = NDArray[np.int64]

_ENOUGH = 64  # with so many times, a lattice that most of them fit is real
_NO_CHANCE = 32  # so many rounded times are all even by chance once in 2^32
_MOST = 1 << 14  # times of a block that a lattice is fitted to
_BINS = 1 << 16  # most bins of the stretch whose spectrum is calculated
_PADDING = 16  # so that a peak is at most 1/32 turn a stretch from a line of the spectrum
_CANDIDATES = 400
_SPREAD = 1.01  # of rounding: it spreads times by 1; the search ends a little above
_TWICE = 1.15  # the same where some times were rounded before, to a tenth of it
_JITTER = 0.6  # of a step: times further away than this show no lattice
_LEAST = 1.04  # of rounding: a shorter step leaves hardly a trace in the times
_PLAIN = 2  # of rounding: every second period fits a shorter step, at any phase
_PLAINER = 4  # the same for a rounding that is not decimal, which hardly any program uses
_CHANCE = 25.0  # so good a fit occurs by chance in e^-25 of cases
_WAVERS = 0.01  # of the pulses: if fewer differ by one step, they are strays
_DEEP = 3  # how many lattices behind each other are looked for
_COARSE_NS = 10  # rounding to this or more hides steps; finer files are taken as exact
_ROUND_HZ = 1000  # analysers' rates are multiples of this
_DIGITS = 4  # or their steps have no more digits in ns
_EXACT = 2e-6  # of a step: the clocks of two devices differ by more than this
_SHORT = 1 << 10  # steps: only pulses up to this are counted


class Step(NamedTuple):
    """A sampling step, and the most by which the rounding of times changes an interval. [ns]"""

    step_ns: float
    rounding_ns: float


class Lattice(NamedTuple):
    """Places `start + step·k`: `fitted` times, from `first` to `last`, fit within `spread`."""

    step: float
    start: float
    spread: float
    fitted: int
    first: int
    last: int

    def number(self, times: Ticks) -> Ticks:
        """The numbers k (n,) of the places that times (n,) belong to."""
        number: Ticks = np.rint((times - self.start) / self.step).astype(np.int64)
        return number


class StepFinder:
    """Finds the step behind times that come in blocks, in whole ticks of `tick_ns`."""

    def __init__(self, tick_ns: float = 1.0) -> None:
        self._tick_ns = tick_ns
        self._first: int | None = None
        self._divisor = 0
        self._count = 0
        self._rounded = 1
        self._few: list[Ticks] = []  # the lines of blocks that are too small to judge alone
        self._other: Ticks = np.zeros(0, np.int64)  # the times of all those lines
        self._edges = False
        self._found: Step | None = Step(math.inf, 0)  # the least of all blocks; None: there is none

    def take(self, ticks: Ticks, rounded: int = 1, toggles: Sequence[Ticks] | None = None) -> None:
        """Add times, int64 (n,), in any order, all after those of earlier calls. [ticks]

        rounded: the most ticks that the file's digits may round times to. toggles: for each line,
        those of the times at which it changes; None if the times are those of samples, most of
        which change nothing.
        """
        if not ticks.size:
            return
        self._rounded = max(self._rounded, rounded)
        self._edges = toggles is not None
        self._count += ticks.size
        if self._first is None:
            self._first = int(ticks.min())
        self._divisor = int(np.gcd.reduce(ticks - self._first, initial=self._divisor))
        self._other = np.union1d(self._other, ticks)
        self._few += toggles or ()
        if self._other.size >= _ENOUGH:
            if self._found is not None:
                found = self._sought(self._other, self._few)
                self._found = None if found is None else min(self._found, found)
            self._few, self._other = [], self._other[:0]

    @property
    def _divisor_tells(self) -> bool:
        """Whether the common divisor is too large to be chance."""
        ratio = self._divisor // self._decade
        return ratio >= 10 or (ratio >= 2 and self._count >= _NO_CHANCE)

    @property
    def _decade(self) -> int:
        """The ticks that times may be rounded to multiples of: 1, 10, 100 …"""
        zeros = len(str(self._divisor)) - len(str(self._divisor).rstrip("0"))
        return max(int(10 ** (zeros if self._divisor else 0)), self._rounded)

    @property
    def _grid(self) -> int:
        """All times are multiples of so many ticks."""
        return self._divisor if self._divisor_tells else self._decade

    def _sought(self, times: Ticks, lines: Sequence[Ticks]) -> Step | None:
        """The step of a lattice behind the grid of the times; None if there is none."""
        grid, grid_ns, rounding_ns = self._grid, self._grid * self._tick_ns, 0.0
        whole = self._divisor % grid == 0
        base = int(times[0]) if whole else 0
        # The file may have had fractions of a nanosecond before the reader rounded them.
        spread = _SPREAD if whole and grid_ns > 1 else _TWICE
        times = (times - base + grid // 2) // grid
        lines = [(line - base + grid // 2) // grid for line in lines]
        for depth in range(_DEEP):
            decimal = depth == 0 and grid == self._decade
            found = lattice(times, grid_ns, spread, lines if self._edges else None, decimal)
            if found is None or found.step * grid_ns <= 1:
                return Step(grid_ns, max(rounding_ns, 1.0)) if depth else None
            rounding_ns += grid_ns * (found.spread if found.spread > _TWICE else 1)
            grid_ns *= found.step
            spread = _SPREAD
            times, lines = np.unique(found.number(times)), [found.number(line) for line in lines]
        return Step(grid_ns, max(rounding_ns, 1.0))

    def step_ns(self) -> Step:
        """The step so far. The rounding is 0 if the step is a whole number of ticks."""
        found = self._found
        if found is not None and found.step_ns == math.inf:  # no block was large enough
            found = self._sought(self._other, self._few) if self._other.size else None
        if found is not None and found.step_ns > 1.01 * max(self._divisor, 1) * self._tick_ns:
            return found
        grid_ns = self._grid * self._tick_ns
        if grid_ns >= _COARSE_NS and self._grid == self._decade:
            # Coarse rounding hides a step; the fewer the times, the longer a step it can hide.
            hidden = min(math.exp(_CHANCE / max(self._count, 1)), 2)
            return Step(max(hidden * self._grid, self._divisor) * self._tick_ns, grid_ns)
        return known_step(max(self._divisor, 1) * self._tick_ns, 1.0)


def known_step(step_ns: float, tick_ns: float) -> Step:
    """A known step, for times in ticks of `tick_ns` whose edges are read to 1 ns.

    If the step is not a whole number of ticks, rounding changes an interval by up to one tick. A
    step of 1 ns or less means times that are exact to the nanosecond.
    """
    if step_ns <= 1:
        return Step(1, 0)
    tick_ns = max(tick_ns, 1.0)
    ticks = step_ns / tick_ns
    whole = math.isclose(ticks, max(round(ticks), 1), rel_tol=1e-9)
    return Step(step_ns, 0 if whole else tick_ns)


def lattice(
    times: Ticks,
    tick_ns: float = 1.0,
    spread: float = _TWICE,
    lines: Sequence[Ticks] | None = None,
    decimal: bool = True,
) -> Lattice | None:
    """The coarsest lattice of a sampler that times fit, in ticks; None if there is none.

    times: int64 (n,), strictly rising, rounded to whole ticks. If there are many, those around the
    densest place are fitted. tick_ns: how long a tick lasts. spread: ticks by which rounding may
    spread times. lines: the toggles of each line, which distinguish a controller's clock from
    samples; None if the times are those of samples. decimal: whether programs round to such a tick;
    then a round step belongs to a sampler, even if nothing else shows it.
    """
    if times.size < 3:
        return None
    begin = max(0, min(_densest(times, _BINS).start, times.size - _MOST))
    ticks = times[begin : begin + _MOST]
    gaps = np.diff(ticks)
    # Shorter steps are not looked for: nothing would show what made them.
    least = _PLAINER if not decimal else _LEAST if tick_ns >= _COARSE_NS else _PLAIN
    stretch, candidates, blurred = _candidates(ticks, least)
    # First without jitter, which would make a controller's clock harder to recognise.
    for most in (spread, math.inf) if decimal else (spread,):
        clock = False
        for frequency, phase, agreement in candidates:
            # How much in phase times within a band are.
            band = frequency * (spread + blurred) if most == spread else _JITTER
            if agreement < math.cos(math.pi * min(band, 1)) - 0.05:
                continue
            found = _fitted(ticks, stretch, frequency, phase, most)
            if found is None or _by_chance(found):
                continue
            plain = found.step > (_PLAIN if decimal else _PLAINER) * max(found.spread, 1)
            is_round = plain and most == spread and _is_round(found, tick_ns, decimal)
            if lines is None or (
                not (gaps.size >= _ENOUGH and _is_a_clock(gaps, found.step))
                and (plain or decimal)
                and (is_round or any(_wavers(found, line, 1 if plain else 3) for line in lines))
            ):
                return found
            clock = True
        if clock:
            break
    return None


def _candidates(
    ticks: Ticks, least: float
) -> tuple[Ticks, list[tuple[float, float, float]], float]:
    """A stretch of the times; its candidates (frequency, phase, share in phase); and the blur.

    Frequencies rise, from steps of `least` ticks or more; phases are in turns. The spectrum blurs
    times by so many ticks.
    """
    shortest = int(np.diff(ticks).min())
    # As coarse as possible with some hundreds of bins in the shortest gap, which is a step or more.
    width = max(1, shortest // 256)
    stretch = ticks[_densest(ticks, _BINS * width)]
    position = (stretch - stretch[0]) // width
    padded = _PADDING << int(position[-1]).bit_length()
    spectrum = np.fft.rfft(np.bincount(position), padded)
    power = np.abs(spectrum) / position.size
    peak = (power[1:-1] >= power[:-2]) & (power[1:-1] > power[2:])
    lines = np.flatnonzero(peak & (power[1:-1] > 1.5 / math.sqrt(position.size))) + 1
    lines = lines[np.argsort(-power[lines], kind="stable")[:_CANDIDATES]]
    turns = np.angle(spectrum[lines]) / (2 * math.pi)
    table = np.stack([lines / padded / width, turns, power[lines]], axis=1)
    if width == 1:  # with whole ticks a frequency f also appears at 1 - f
        table = np.concatenate([table, [1, 0, 0] + table * [-1, -1, 1]])
    # A step is no longer than the shortest gap, except for one rounding.
    table = table[(table[:, 0] >= 1 / (shortest + 1.5)) & (table[:, 0] <= 1 / least)]
    rising = [(f, phase, share) for f, phase, share in table[table[:, 0].argsort()].tolist()]
    return stretch, rising, width if width > 1 else 0


def _by_chance(found: Lattice) -> bool:
    """Whether so few times may be so near to a lattice by chance."""
    any_time = np.arange(1000)
    off = np.abs(any_time - found.start - found.step * found.number(any_time))
    share = float(np.mean(off <= found.spread / 2 + 1e-9))
    return found.fitted * -math.log(max(share, 1e-3)) < _CHANCE


def _wavers(found: Lattice, line: Ticks, most_periods: int) -> bool:
    """Whether pulses, gaps and periods vary by one step, as samples of them do.

    Pulses and gaps alone do not show it: a controller may make a bit of three pieces, 1 high and 2
    low, or 2 and 1. Up to `most_periods` are taken together: every second or third period fits a
    step that is hardly longer than rounding.
    """
    inside = line[(line >= found.first) & (line <= found.last)]
    number = found.number(inside)
    groups = [np.diff(number[phase:])[::2] for phase in (0, 1)]
    for periods in range(1, most_periods + 1):
        groups += [np.diff(number[phase :: 2 * periods]) for phase in range(2)]
    for group in groups:
        count = np.bincount(group[(group > 0) & (group < _SHORT)], minlength=2)
        both = np.minimum(count[1:], count[:-1])
        if both.max() < max(3, _WAVERS * group.size):
            return False
    return True


def _is_a_clock(gaps: Ticks, step: float) -> bool:
    """Whether most gaps are one step and none are two: then the step is a clock, not a sampler's.

    A sampler with one sample a level would miss a change now and then.
    """
    steps = np.rint(gaps / step)
    return bool(2 * np.count_nonzero(steps == 1) > steps.size and not (steps == 2).any())


def _is_round(found: Lattice, tick_ns: float, decimal: bool) -> bool:
    """Whether a step may be an analyser's: round in Hz or in ns, as far as it is known.

    If ticks are not a decimal number, the step must be known well.
    """
    off = max(_EXACT, 1 / (found.last - found.first))
    if not decimal and off > 10 * _EXACT:
        return False
    step_ns = found.step * tick_ns
    digit_ns = 10.0 ** (math.floor(math.log10(step_ns)) + 1 - _DIGITS)
    for unit, measure in ((_ROUND_HZ, 1e9 / step_ns), (digit_ns, step_ns)):
        nearest = max(round(measure / unit), 1) * unit
        if abs(measure / nearest - 1) <= off:
            return True
    return False


def _densest(ticks: Ticks, length: int) -> slice:
    """The slice of the times in the stretch of `length` ticks that contains most of them."""
    ends = np.searchsorted(ticks, ticks + length)
    begin = int((ends - np.arange(ticks.size)).argmax())
    return slice(begin, int(ends[begin]))


def _fitted(
    ticks: Ticks, stretch: Ticks, frequency: float, phase: float, most: float
) -> Lattice | None:
    """The lattice of a candidate, fitted to a stretch of the times and then to more and more.

    None if a time is off by `most` ticks, or by so large a part of a step that every time would
    fit. The lattice ends at a gap over which the number of steps is uncertain: a step fitted over a
    stretch is off by about a tick in its length, and the number must be certain to a quarter.
    """
    origin = int(stretch[0])
    low = int(np.searchsorted(ticks, origin))
    high = low + stretch.size
    offset = stretch - origin
    number = np.rint(offset * frequency + phase)
    while True:
        found = _narrowest(number, offset, most)
        if found is None:
            return None
        step, start, spread = found
        first, last = int(ticks[low]), int(ticks[high - 1])
        before = low, high
        reach = int((last - first) * min(step / 4, step - 1)) + 1
        low = int(np.searchsorted(ticks, first - reach))
        high = int(np.searchsorted(ticks, last + reach, side="right"))
        if (low, high) == before:
            return Lattice(step, origin + start, spread, offset.size, first, last)
        offset = ticks[low:high] - origin
        number = np.rint((offset - start) / step)


def _narrowest(
    number: NDArray[np.float64], offset: Ticks, widest: float
) -> tuple[float, float, float] | None:
    """Slope, middle and width of the narrowest band around (number, offset); None if too wide.

    The width of the band is a convex function of its slope, so a search by thirds finds the least,
    from the line of least squares on.
    """
    middle = number.mean()
    spread = number - middle
    square = float(spread @ spread)
    if square == 0:
        return None
    slope = float(spread @ (offset - offset.mean())) / square

    def edges(at: float) -> tuple[float, float]:
        residual = offset - at * number
        return float(residual.min()), float(residual.max())

    low, high = edges(slope)
    jitter = widest == math.inf  # a narrower band would then change nothing
    widest = min(widest, max(_JITTER * slope, _SPREAD))
    if slope < _LEAST or high - low > widest + (0 if jitter else 2):
        return None
    reach = 2 / (float(number[-1] - number[0]) or 1.0)
    least, most = slope - reach, slope + reach
    while high - low > widest and most - least > 0.01 * reach:
        one, two = least + (most - least) / 3, most - (most - least) / 3
        (low, high), other = edges(one), edges(two)
        if other[1] - other[0] < high - low:
            least, (low, high), slope = one, other, two
        else:
            most, slope = two, one
    return (slope, (low + high) / 2, high - low) if high - low <= widest else None
