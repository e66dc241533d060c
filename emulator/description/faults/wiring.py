"""The kinds of the wiring: LEDs of the wall in another order on the data line than planned."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, ClassVar, Self

import numpy as np
from pydantic import Field

from emulator.arrays import Ints
from emulator.description.display import Display
from emulator.description.faults.built import EXTRA, Built
from emulator.description.faults.fault import (
    PRACTICE,
    Fault,
    Number,
    OfJoint,
    OfLed,
    OfLine,
    OfRun,
    Stage,
    Wrong,
    no_line,
    no_run,
)
from emulator.description.wiring import Corner

_KEEPS = (
    "WS2812B datasheet, Worldsemi: each chip keeps the first 24 bits after a reset and passes the"
    " rest on, so the order of the data alone says which LED shows what"
)


class RunReversed(OfRun):
    """A run is laid from its other end: its first LED sits where the last one should."""

    name: ClassVar[str] = "run-reversed"
    stage: ClassVar[Stage] = "wiring"
    looks: ClassVar[str] = "one straight piece shows its part of the picture backwards"
    alike: ClassVar[str] = "a map that takes this run the other way; serpentine for progressive"
    measure: ClassVar[str] = (
        "the arrows on the strip: the data runs along them; light LED 0 of the run alone"
    )
    source: ClassVar[str] = _KEEPS

    def act(self, built: Built) -> None:
        """As Fault.act."""
        leds = built.of_run(self.run)
        built.replace(leds, leds[::-1])


class RunsExchanged(OfRun):
    """Two runs are joined in each other's place in the order of the data."""

    name: ClassVar[str] = "runs-exchanged"
    stage: ClassVar[Stage] = "wiring"
    looks: ClassVar[str] = "two straight pieces show each other's part of the picture"
    alike: ClassVar[str] = "a map with two rows exchanged; outputs exchanged, with a run a line"
    measure: ClassVar[str] = "follow the data wires from run to run; light one run at a time"
    source: ClassVar[str] = _KEEPS

    other: Number = Field(description="the other run")

    def judge(self, display: Display) -> Iterator[Wrong]:
        """As Fault.judge."""
        yield from super().judge(display)
        yield from no_run("other", self.other, display)
        if self.run == self.other:
            yield Wrong("other", f"run {self.run} twice", "name two runs.")

    def act(self, built: Built) -> None:
        """As Fault.act."""
        one, two = built.of_run(self.run), built.of_run(self.other)
        mark = np.array([EXTRA - 1])  # holds the place of the first meanwhile
        built.replace(one, mark)
        built.replace(two, one)
        built.replace(mark, two)

    @classmethod
    def everywhere(cls, display: Display) -> Iterator[Self]:
        """As Fault.everywhere: each pair."""
        runs = len(display.wiring.runs)
        for run in range(runs):
            for other in range(run + 1, runs):
                yield cls(run=run, other=other)


class _RunOfOtherLength(OfRun):
    """Base: a run has some LEDs more or fewer than planned, at its end."""

    leds: Annotated[int, Field(ge=1, le=1000)] = Field(1, description="by how many LEDs")


class RunShort(_RunOfOtherLength):
    """A run is cut some LEDs short: its last cells have no LED."""

    name: ClassVar[str] = "run-short"
    stage: ClassVar[Stage] = "wiring"
    looks: ClassVar[str] = (
        "the last cells of the run are dark; behind it each LED shows what one before it should"
    )
    alike: ClassVar[str] = "a missing LED; a map that counts too many LEDs in this run"
    measure: ClassVar[str] = "count the LEDs of the run"
    source: ClassVar[str] = _KEEPS

    def judge(self, display: Display) -> Iterator[Wrong]:
        """As Fault.judge."""
        found = [*super().judge(display)]
        yield from found
        if not found and self.leds >= (has := display.wiring.runs[self.run].leds):
            yield Wrong("leds", f"run {self.run} has {has} LED(s)", f"give at most {has - 1}.")

    def act(self, built: Built) -> None:
        """As Fault.act."""
        leds = built.of_run(self.run)
        built.replace(leds[-self.leds :], leds[:0])

    @classmethod
    def everywhere(cls, display: Display) -> Iterator[Self]:
        """As Fault.everywhere."""
        yield from (
            cls(run=number) for number, run in enumerate(display.wiring.runs) if run.leds > 1
        )


class RunLong(_RunOfOtherLength):
    """A run is cut some LEDs long: they hang over, outside its cells."""

    name: ClassVar[str] = "run-long"
    stage: ClassVar[Stage] = "wiring"
    looks: ClassVar[str] = "the run is right; behind it each LED shows what a later one should"
    alike: ClassVar[str] = "an extra LED; a map that counts too few LEDs in this run"
    measure: ClassVar[str] = "count the LEDs of the run; look for lit LEDs behind the frame"
    source: ClassVar[str] = _KEEPS

    def act(self, built: Built) -> None:
        """As Fault.act."""
        last = built.of_run(self.run)[-1:]
        built.replace(last, np.append(last, np.full(self.leds, EXTRA)))


class OutputsExchanged(OfLine):
    """Two lines are plugged into each other's output of the controller."""

    name: ClassVar[str] = "outputs-exchanged"
    stage: ClassVar[Stage] = "wiring"
    looks: ClassVar[str] = "two lines show each other's part of the picture; a longer one ends dark"
    alike: ClassVar[str] = "a map or a controller with its lines exchanged"
    measure: ClassVar[str] = "light one line at a time; follow the plugs at the controller"
    source: ClassVar[str] = PRACTICE

    other: Number = Field(description="the other line")

    def judge(self, display: Display) -> Iterator[Wrong]:
        """As Fault.judge."""
        yield from super().judge(display)
        yield from no_line("other", self.other, display)
        if self.line == self.other:
            yield Wrong("other", f"line {self.line} twice", "name two lines.")

    def act(self, built: Built) -> None:
        """As Fault.act."""
        chains = built.chains
        chains[self.line], chains[self.other] = chains[self.other], chains[self.line]

    @classmethod
    def everywhere(cls, display: Display) -> Iterator[Self]:
        """As Fault.everywhere: each pair."""
        lines = len(display.wiring.line_lengths)
        for line in range(lines):
            for other in range(line + 1, lines):
                yield cls(line=line, other=other)


class LedMissing(OfLed):
    """An LED is missing and its wires are joined: its cell is empty."""

    name: ClassVar[str] = "led-missing"
    stage: ClassVar[Stage] = "wiring"
    looks: ClassVar[str] = (
        "one cell is dark; behind it on the line each LED shows what the one before it should"
    )
    alike: ClassVar[str] = "a short run; a dark LED, but nothing is shifted there"
    measure: ClassVar[str] = "count the LEDs of the run"
    source: ClassVar[str] = _KEEPS

    def act(self, built: Built) -> None:
        """As Fault.act."""
        led = np.array([built.position(self.line, self.led)])
        built.replace(led, led[:0])


class LedExtra(OfJoint):
    """An LED too many sits in the chain, outside the cells."""

    name: ClassVar[str] = "led-extra"
    stage: ClassVar[Stage] = "wiring"
    looks: ClassVar[str] = "behind it on the line each LED shows what the next one should"
    alike: ClassVar[str] = "a long run; a hidden LED that the plan lacks"
    measure: ClassVar[str] = "count the LEDs of the run; look for a lit LED behind the frame"
    source: ClassVar[str] = _KEEPS

    def act(self, built: Built) -> None:
        """As Fault.act."""
        if self.after < 0:
            first = np.array([built.position(self.line, 0)])
            built.replace(first, np.append(EXTRA, first))
        else:
            led = np.array([built.position(self.line, self.after)])
            built.replace(led, np.append(led, EXTRA))


class OtherCorner(OfLine):
    """A line starts at another corner of its own area, and runs on from there as planned.

    Along which way it runs, and whether it turns at each end, stay the same.
    """

    name: ClassVar[str] = "other-corner"
    stage: ClassVar[Stage] = "wiring"
    looks: ClassVar[str] = "the picture of the line is mirrored, upside down, or both"
    alike: ClassVar[str] = "a map that starts at another corner, or is drawn from the back"
    measure: ClassVar[str] = "light LED 0 of the line alone"
    source: ClassVar[str] = PRACTICE

    corner: Corner = Field(description="where its first LED is, seen from the front")

    def judge(self, display: Display) -> Iterator[Wrong]:
        """As Fault.judge."""
        found = [*super().judge(display)]
        yield from found
        if not found and self.corner == _corner(display, self.line):
            others = [c for c in _CORNERS if c != self.corner]
            yield Wrong("corner", f"line {self.line} is planned to start {self.corner}",
                        f"use {', '.join(others)}.")  # fmt: skip

    def act(self, built: Built) -> None:
        """As Fault.act."""
        wiring = built.display.wiring
        planned = _corner(built.display, self.line)
        down = self.corner.split("-")[0] != planned.split("-")[0]
        across = self.corner.split("-")[1] != planned.split("-")[1]
        leds = np.flatnonzero(wiring.line == self.line)
        along_rows = wiring.along == "rows"
        strips = _strips(leds, (wiring.row if along_rows else wiring.column)[leds])
        order = strips[::-1] if (down if along_rows else across) else strips
        # Each strip from the same end of the wall as the one planned in its turn, or the other.
        runs_on = (wiring.column if along_rows else wiring.row)[leds[0] : leds[-1] + 1]
        laid: list[Ints] = []
        for planned_strip, strip in zip(strips, order, strict=True):
            same = _rises(runs_on, planned_strip - leds[0]) == _rises(runs_on, strip - leds[0])
            turned = same == (across if along_rows else down)
            laid.append(strip[::-1] if turned else strip)
        built.replace(leds, np.concatenate(laid))

    @classmethod
    def everywhere(cls, display: Display) -> Iterator[Self]:
        """As Fault.everywhere: each other corner of each line."""
        for line in range(len(display.wiring.line_lengths)):
            for corner in _CORNERS:
                if corner != _corner(display, line):
                    yield cls(line=line, corner=corner)


_CORNERS: tuple[Corner, ...] = ("top-left", "top-right", "bottom-left", "bottom-right")


def _corner(display: Display, line: int) -> Corner:
    """The corner of its own area that a line's first LED with a cell is nearest to."""
    wiring = display.wiring
    leds = np.flatnonzero((wiring.line == line) & ~wiring.hidden)
    column, row = wiring.column[leds], wiring.row[leds]
    top = 2 * row[0] <= row.min() + row.max()
    left = 2 * column[0] <= column.min() + column.max()
    return _CORNERS[2 * (not top) + (not left)]


def _strips(leds: Ints, across: Ints) -> list[Ints]:
    """The LEDs of a line cut where they change to another row (column)."""
    return np.split(leds, np.flatnonzero(np.diff(across)) + 1)


def _rises(along: Ints, strip: Ints) -> bool:
    """Whether the columns (rows) of a strip rise with the data."""
    return bool(along[strip[-1]] >= along[strip[0]])


KINDS: tuple[type[Fault], ...] = (
    RunReversed,
    RunsExchanged,
    RunShort,
    RunLong,
    OutputsExchanged,
    LedMissing,
    LedExtra,
    OtherCorner,
)
