"""Faults of lines, runs and ranges: exchanged, reversed, from another corner, late, shuffled."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Self

import numpy as np

from emulator.arrays import Ints
from emulator.description.wiring import Wiring
from harness.explain.wall import Wall, Words
from harness.mistakes.built import shown_as_built
from harness.mistakes.fault import Generator, two
from harness.patterns.coded import NEVER_LIT


@dataclass(frozen=True)
class LinesExchanged:
    """Two controller outputs are plugged into each other's line; what is too long stays dark."""

    line: int
    other: int
    what: ClassVar[str] = "two lines are exchanged"

    def apply(self, cells: Ints, wiring: Wiring) -> Ints:
        exchanged = f"outputs-exchanged line={self.line} other={self.other}"
        return shown_as_built(exchanged, cells, wiring)

    @classmethod
    def example(cls, wiring: Wiring, rng: Generator) -> Self | None:
        pair = two(len(wiring.line_names), rng)
        return cls(*pair) if pair else None


@dataclass(frozen=True)
class RunReversed:
    """One straight piece of strip is mounted, or mapped, the wrong way round."""

    run: int
    what: ClassVar[str] = "one run is reversed"

    def apply(self, cells: Ints, wiring: Wiring) -> Ints:
        return shown_as_built(f"run-reversed run={self.run}", cells, wiring)

    @classmethod
    def example(cls, wiring: Wiring, rng: Generator) -> Self | None:
        long = np.flatnonzero(np.bincount(wiring.run) > 2)
        return cls(int(rng.choice(long))) if long.size else None


@dataclass(frozen=True)
class RangeReversed:
    """LEDs `first` to `last` of a line are a piece of strip mounted the wrong way round."""

    line: int
    first: int
    last: int
    what: ClassVar[str] = "a range of LEDs is reversed, across runs"

    def apply(self, cells: Ints, wiring: Wiring) -> Ints:
        out = cells.copy()
        inside = (wiring.led >= self.first) & (wiring.led <= self.last)
        leds = np.flatnonzero((wiring.line == self.line) & inside)
        out[leds] = cells[leds[::-1]]
        return out

    @classmethod
    def example(cls, wiring: Wiring, rng: Generator) -> Self | None:
        line = int(np.argmax(wiring.line_lengths))
        room = wiring.line_lengths[line]
        if room < 16:
            return None
        length = int(rng.integers(6, room // 2 + 1))
        first = int(rng.integers(room - length + 1))
        return cls(line, first, first + length - 1)


@dataclass(frozen=True)
class Late:
    """On one line, everything from LED `first` on comes `by` LEDs too late (below 0: early).

    The LEDs freed by being late stay dark, as when the code sends LEDs that are not there; at
    the end of an early line no data is left.
    """

    line: int
    first: int
    by: int
    what: ClassVar[str] = "everything from one LED on is late or early by some LEDs"

    def apply(self, cells: Ints, wiring: Wiring) -> Ints:
        out = cells.copy()
        tail = np.flatnonzero((wiring.line == self.line) & (wiring.led >= self.first))
        dark = np.full(abs(self.by), NEVER_LIT, dtype=np.int64)
        data = cells[tail]
        sent = np.concatenate((dark, data) if self.by > 0 else (data[-self.by :], dark))
        out[tail] = sent[: len(tail)]
        return out

    @classmethod
    def example(cls, wiring: Wiring, rng: Generator) -> Self | None:
        line = int(np.argmax(wiring.line_lengths))
        room = wiring.line_lengths[line]
        if room < 12:
            return None
        return cls(line, int(rng.integers(room - 8)), int(rng.choice([-2, -1, 1, 2])))


@dataclass(frozen=True)
class LineFromElsewhere:
    """One line goes through its own cells from another corner, along the others, or another way."""

    line: int
    words: Words
    what: ClassVar[str] = "one line starts at another corner, or takes another path"

    def apply(self, cells: Ints, wiring: Wiring) -> Ints:
        out = cells.copy()
        wall = Wall(wiring)
        order = dict(wall.line_orders[self.line])[self.words]
        out[wall.placed_on(self.line)] = cells[order]  # LEDs without a cell stay so
        return out

    @classmethod
    def example(cls, wiring: Wiring, rng: Generator) -> Self | None:
        lines = len(wiring.line_names)
        line = int(rng.integers(lines))
        ways = Wall(wiring).line_orders[line][1:]
        if lines < 2 or not ways:  # of a single line it would be the whole map
            return None
        return cls(line, ways[rng.integers(len(ways))][0])


@dataclass(frozen=True)
class _Shuffled:
    """The LEDs (positions) of one piece show each other's cells: leds[i] that of givers[i]."""

    leds: tuple[int, ...]
    givers: tuple[int, ...]

    def apply(self, cells: Ints, wiring: Wiring) -> Ints:
        out = cells.copy()
        out[list(self.leds)] = cells[list(self.givers)]
        return out

    @classmethod
    def example(cls, wiring: Wiring, rng: Generator) -> Self | None:
        group = cls._group(wiring)
        long = np.flatnonzero(np.bincount(group) >= 8)
        if not long.size:
            return None
        leds = np.flatnonzero(group == rng.choice(long))
        return cls(tuple(leds.tolist()), tuple(rng.permutation(leds).tolist()))

    @classmethod
    def _group(cls, wiring: Wiring) -> Ints:
        raise NotImplementedError


@dataclass(frozen=True)
class RunShuffled(_Shuffled):
    """One straight piece of strip is mapped in no order."""

    what: ClassVar[str] = "one run is shuffled"

    @classmethod
    def _group(cls, wiring: Wiring) -> Ints:
        return wiring.run


@dataclass(frozen=True)
class RowShuffled(_Shuffled):
    """The LEDs of one row are mapped in no order."""

    what: ClassVar[str] = "one row is shuffled"

    @classmethod
    def _group(cls, wiring: Wiring) -> Ints:
        return wiring.row


@dataclass(frozen=True)
class LineShuffled(_Shuffled):
    """The LEDs of one line are mapped in no order."""

    what: ClassVar[str] = "one line is shuffled"

    @classmethod
    def _group(cls, wiring: Wiring) -> Ints:
        return wiring.line

    @classmethod
    def example(cls, wiring: Wiring, rng: Generator) -> Self | None:
        # A single line is the whole wall, in which there is then no pattern at all.
        return super().example(wiring, rng) if len(wiring.line_names) > 1 else None
