"""The detector of offsets: stretches of LEDs that are late or early by a number of LEDs."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Ints
from harness.explain.operations import Fill, Offset
from harness.explain.state import State
from harness.explain.wall import Wall
from harness.patterns.coded import NEVER_LIT

_DISTANCES = 3  # most frequent distances tried on each stretch
_FITTING = 2.0  # LEDs in a row, net of misses, that an offset must set right
_MISS = 0.5  # cost of an LED that fits neither with nor without the offset


def offsets(state: State) -> Iterator[Offset]:
    """The best offset on each line, on all lines that share one, and on the whole chain.

    An offset is yielded when it sets right more LEDs than it costs statements.
    """
    wall = state.wall
    starts, lengths = wall.wiring.line_starts, wall.wiring.line_lengths
    alike: dict[tuple[int, int | None, int, Fill], list[int]] = {}
    for number, (start, length) in enumerate(zip(starts, lengths, strict=True)):
        best = _best(state, start, length, (number,))
        if best is not None:
            yield best
            key = (best.first, best.last, best.by, best.fill)
            alike.setdefault(key, []).append(number)
    for key, numbers in alike.items():
        if len(numbers) > 1:
            yield Offset(tuple(numbers), *key)
    if wall.lines > 1:
        chain = _best(state, 0, len(wall), ())
        if chain is not None:
            yield chain


def _best(state: State, start: int, length: int, lines: tuple[int, ...]) -> Offset | None:
    """The offset on LEDs start … start+length-1 that pays most, or None if none does."""
    stretch = slice(start, start + length)
    wall, now = state.wall, state.right[stretch]
    prediction, seen, mine = (a[stretch] for a in (state.prediction, state.source, state.giver))
    if int((~now).sum()) < 2:
        return None
    distance = (np.arange(start, start + length) - mine)[~now & (mine >= 0)]
    values, votes = np.unique(distance[np.abs(distance) < length], return_counts=True)
    common = values[(votes > 1) & (values != 0)][np.argsort(-votes[(votes > 1) & (values != 0)])]
    best, most = None, 0.0
    for by in common[:_DISTANCES].tolist():
        fits = _shifted_fits(wall, prediction, seen, by)
        first, last, fitting = _densest(fits, now)
        if fitting < _FITTING:
            continue
        gains = _Gains(wall.as_seen(prediction), seen, now, fits, by)
        for candidate in _around(lines, first, last, by, length):
            gain = gains.of(candidate)
            if gain - candidate.cost > most:
                best, most = candidate, gain - candidate.cost
    return best


def _shifted_fits(wall: Wall, prediction: Ints, seen: Ints, by: int) -> NDArray[np.bool_]:
    """Where LED i shows what was meant for LED i - by of the same stretch."""
    fits = np.zeros(len(seen), dtype=bool)
    shown = wall.as_seen(prediction)
    if by > 0:
        fits[by:] = seen[by:] == shown[:-by]
    else:
        fits[:by] = seen[:by] == shown[-by:]
    return fits


def _densest(fits: NDArray[np.bool_], now: NDArray[np.bool_]) -> tuple[int, int, float]:
    """The stretch where the offset gains most (maximum subarray): first, last index and gain."""
    gain = np.where(fits, 1.0, -_MISS) - np.where(now, 1.0, 0.0)
    gain[fits & now] = 0.0
    total = np.concatenate(([0.0], np.cumsum(gain)))
    lowest = np.minimum.accumulate(total)
    gains = total[1:] - lowest[:-1]
    last = int(gains.argmax())
    first = int(np.flatnonzero(total[: last + 1] == lowest[last])[-1])
    return first, last, float(gains[last])


def _around(
    lines: tuple[int, ...], first: int, last: int, by: int, length: int
) -> Iterator[Offset]:
    """The ways to state an offset that fits LEDs first … last."""
    size = abs(by)
    begins = {first, max(first - size, 0)} if by > 0 else {first}
    ends = {last, min(last + size, length - 1), length - 1}
    for begin in sorted(begins, reverse=True):
        for end in sorted(ends, reverse=True):
            stop = None if end == length - 1 else end
            fills: tuple[Fill, ...] = ("through", "dark", "around")
            for fill in fills:
                yield Offset(lines, begin, stop, by, fill)


class _Gains:
    """LEDs of one stretch that offsets by one distance set right, less those they set wrong.

    Sums from the start of the stretch count them for all its offsets at once.
    """

    def __init__(
        self, shown: Ints, seen: Ints, now: NDArray[np.bool_], fits: NDArray[np.bool_], by: int
    ) -> None:
        self._shown, self._seen, self._by = shown, seen, by
        dark = seen == NEVER_LIT
        self._dark = _sums(dark)
        through = fits.copy()
        beyond = slice(0, by) if by > 0 else slice(by, None)
        through[beyond] = dark[beyond]
        self._through, self._now = _sums(through), _sums(now)

    def of(self, offset: Offset) -> float:
        length, by, begin = len(self._seen), self._by, offset.first
        end = length if offset.last is None else min(offset.last + 1, length)
        gain = self._through[end] - self._through[begin] - self._now[end] + self._now[begin]
        if offset.fill == "through":
            return float(gain)
        size = min(abs(by), end - begin)  # LEDs whose giver is outside
        low, high = (begin, begin + size) if by > 0 else (end - size, end)
        gain -= self._through[high] - self._through[low]
        if offset.fill == "dark":
            return float(gain + self._dark[high] - self._dark[low])
        giver = begin + (np.arange(low, high) - by - begin) % (end - begin)
        return float(gain + np.count_nonzero(self._shown[giver] == self._seen[low:high]))


def _sums(values: NDArray[np.bool_]) -> list[int]:
    """How many of the first n values are True, for n from 0."""
    return [0, *np.cumsum(values).tolist()]
