"""The kinds of the strip: chips and data joints that are broken, or of another part than planned.

A fault that comes and goes is present, or not, for a whole frame.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, ClassVar, Literal, Self

import numpy as np
from pydantic import Field

from emulator.description.chips import Chip, Clocked, OneWire, chip
from emulator.description.display import Display
from emulator.description.faults.built import Built, high_times_ns
from emulator.description.faults.fault import (
    PRACTICE,
    Fault,
    OfJoint,
    OfLed,
    OfLeds,
    OfRun,
    Sometimes,
    Stage,
    Wrong,
)
from emulator.errors import UnknownNameError

_PASSES = (
    "WS2812B datasheet, Worldsemi: DOUT gives on what DIN gets after the first 24 bits; a chip"
    " shows what it has latched until the next reset after new data"
)

Colour = Literal["red", "green", "blue", "white"]
_LETTERS: dict[Colour, str] = {"red": "R", "green": "G", "blue": "B", "white": "W"}
Factor = Annotated[float, Field(ge=0, le=4)]


class LedDark(Sometimes, OfLed):
    """An LED that stays dark but passes its data on."""

    name: ClassVar[str] = "led-dark"
    stage: ClassVar[Stage] = "strip"
    looks: ClassVar[str] = "one dark cell; everything else is right"
    alike: ClassVar[str] = "a map that sends this LED black; a cell that is covered"
    measure: ClassVar[str] = "5 V between + and ground at that LED: then the LED itself is broken"
    source: ClassVar[str] = PRACTICE

    def act(self, built: Built) -> None:
        """As Fault.act."""
        built.off[built.position(self.line, self.led)] = True


class LedSwallows(Sometimes, OfLed):
    """An LED that takes its data and passes nothing on."""

    name: ClassVar[str] = "led-swallows"
    stage: ClassVar[Stage] = "strip"
    looks: ClassVar[str] = "all after it on the line is dark, or keeps what it showed"
    alike: ClassVar[str] = "an open data joint behind it: if the LED itself is lit, exactly alike"
    measure: ClassVar[str] = (
        "data at its DOUT, with a logic analyser or against a whole LED: none comes out, though DIN"
        " has it"
    )
    source: ClassVar[str] = _PASSES

    lit: bool = Field(False, description="it still shows its own data")

    def act(self, built: Built) -> None:
        """As Fault.act."""
        position = built.position(self.line, self.led)
        built.passes[position] = False
        built.off[position] |= not self.lit

    @classmethod
    def everywhere(cls, display: Display) -> Iterator[Self]:
        """As Fault.everywhere: dark, and lit."""
        for one in super().everywhere(display):
            yield one
            yield one.model_copy(update={"lit": True})


class DataOpen(Sometimes, OfJoint):
    """The data joint between two LEDs is open."""

    name: ClassVar[str] = "data-open"
    stage: ClassVar[Stage] = "strip"
    looks: ClassVar[str] = (
        "all behind the joint is dark from power-on, or keeps what it showed; now and then, if the"
        " joint is loose"
    )
    alike: ClassVar[str] = "an LED that passes nothing on; a strip cut in against the arrow"
    measure: ClassVar[str] = (
        "power off: less than 1 Ω from DOUT of the LED before the joint to DIN of the one behind"
    )
    source: ClassVar[str] = _PASSES

    def act(self, built: Built) -> None:
        """As Fault.act."""
        if self.after < 0:
            built.hears[built.position(self.line, 0)] = False
        else:
            built.passes[built.position(self.line, self.after)] = False


class LedJoined(OfLed):
    """Solder joins the data input of an LED to that of the LED before: both take the same data."""

    name: ClassVar[str] = "led-joined"
    stage: ClassVar[Stage] = "strip"
    looks: ClassVar[str] = (
        "two neighbours show the same; behind them each LED shows what the one before it should"
    )
    alike: ClassVar[str] = "a missing LED, but no cell is dark"
    measure: ClassVar[str] = "power off: DIN and DOUT of the LED before must not be joined"
    source: ClassVar[str] = PRACTICE

    def judge(self, display: Display) -> Iterator[Wrong]:
        """As Fault.judge."""
        yield from super().judge(display)
        if self.led == 0:
            yield Wrong("led", "no LED comes before LED 0", "use 1 or more.")

    def act(self, built: Built) -> None:
        """As Fault.act."""
        built.joined[built.position(self.line, self.led)] = True

    @classmethod
    def everywhere(cls, display: Display) -> Iterator[Self]:
        """As Fault.everywhere."""
        yield from (one for one in super().everywhere(display) if one.led)


class AgainstArrow(OfRun):
    """A run is joined by its output end: its chips get no data, and nothing comes through."""

    name: ClassVar[str] = "against-arrow"
    stage: ClassVar[Stage] = "strip"
    looks: ClassVar[str] = "the run and all after it on the line stays dark"
    alike: ClassVar[str] = "an open data joint before the run"
    measure: ClassVar[str] = "the arrows on the strip must point away from the controller"
    source: ClassVar[str] = "WS2812B datasheet, Worldsemi: DIN is the input, DOUT the output"

    def act(self, built: Built) -> None:
        """As Fault.act."""
        leds = built.of_run(self.run)
        built.hears[leds] = built.passes[leds] = False


class OtherChip(OfLeds):
    """A piece of strip has another chip: other bits, order or speed.

    A chip reads bits by how long they are high, with its own threshold, and passes them on with its
    own timing. Not modelled: that it may need a longer reset, and its delay. Where the wall has no
    white channel, that of the piece adds to red, green and blue, up to full light at most.
    """

    name: ClassVar[str] = "other-chip"
    stage: ClassVar[Stage] = "strip"
    looks: ClassVar[str] = (
        "wrong colours in the piece (order); drifting colours from it on (bits); dark or white"
        " (speed)"
    )
    alike: ClassVar[str] = "a wrong order in the display file, if the piece is the whole wall"
    measure: ClassVar[str] = "the print on the strip and its reel; one colour at a time, full red"
    source: ClassVar[str] = (
        "datasheets of both parts (`foreglow chips --sources`): order, bits and high times; the"
        " threshold midway between the tolerances is an assumption"
    )

    chip: str = Field(description="the part that is there, as `foreglow chips` lists them")

    def judge(self, display: Display) -> Iterator[Wrong]:
        """As Fault.judge."""
        yield from super().judge(display)
        try:
            other = chip(self.chip)
        except UnknownNameError as error:
            yield Wrong("chip", error.problem, error.fix)
            return
        mine = display.chip
        if type(other.wire) is not type(mine.wire):
            yield Wrong("chip", f"{other.part} has {_way(other)}, {mine.part} {_way(mine)}",
                        "name a part with as many data wires.")  # fmt: skip
        elif _framing(other) != _framing(mine):
            yield Wrong("chip", f"{other.part} and {mine.part} frame their data differently, and"
                        " what they show of each other's is unknown",
                        "name a part with the same framing.")  # fmt: skip

    def act(self, built: Built) -> None:
        """As Fault.act."""
        mine, other = built.display.chip, chip(self.chip)
        first = built.position(self.line, self.first)
        last = built.position(self.line, self.last)
        piece = slice(first, last + 1)
        built.size[piece] = other.bytes_per_led
        for channel, letter in enumerate(mine.channels):
            built.pick[piece, channel] = other.order.find(letter)
        built.also[piece] = -1 if "W" in mine.order else other.order.find("W")
        times_ns = high_times_ns(other)
        built.zero_ns[piece], built.one_ns[piece], built.least_ns[piece] = times_ns

    @classmethod
    def everywhere(cls, display: Display) -> Iterator[Self]:
        """As Fault.everywhere: each run with parts that differ in order, bits and speed."""
        for part in ("SK6812-RGBW", "WS2811-LOW", "WS2811-HIGH", "WS2812B", "SK9822", "WS2801"):
            for run in display.wiring.runs:
                one = cls(line=run.line, first=run.first, last=run.last, chip=part)
                other = chip(part)
                differs = (other.order, other.wire) != (display.chip.order, display.chip.wire)
                if differs and not any(one.judge(display)):
                    yield one


def _framing(one: Chip) -> tuple[str, int]:
    """The properties that two clocked chips must share so that one can read the other's data."""
    return (one.wire.latch, one.bytes_per_led) if isinstance(one.wire, Clocked) else ("", 0)


def _way(one: Chip) -> str:
    return "one data wire" if isinstance(one.wire, OneWire) else "a clock wire"


class _OfChannel(Sometimes, OfLed):
    """Base: one channel of an LED."""

    channel: Colour = Field(description="red, green, blue, or white if the chip has it")

    def judge(self, display: Display) -> Iterator[Wrong]:
        """As Fault.judge."""
        yield from super().judge(display)
        if _LETTERS[self.channel] not in display.chip.channels:
            yield Wrong("channel", f"{display.chip.part} has no {self.channel} channel",
                        f"use one of {', '.join(_colours(display.chip))}.")  # fmt: skip

    def at(self, built: Built) -> tuple[int, int]:
        """Position and channel number."""
        letter = _LETTERS[self.channel]
        return built.position(self.line, self.led), built.display.chip.channels.index(letter)

    @classmethod
    def everywhere(cls, display: Display) -> Iterator[Self]:
        """As Fault.everywhere: each channel of each LED."""
        for line, leds in enumerate(display.wiring.line_lengths):
            for led in range(leds):
                for colour in _colours(display.chip):
                    yield cls(line=line, led=led, channel=colour)


def _colours(one: Chip) -> list[Colour]:
    return [colour for colour, letter in _LETTERS.items() if letter in one.channels]


class ChannelOff(_OfChannel):
    """One channel of an LED stays dark."""

    name: ClassVar[str] = "channel-off"
    stage: ClassVar[Stage] = "strip"
    looks: ClassVar[str] = "white has a cast at one LED: cyan without red, and so on"
    alike: ClassVar[str] = "a supply too low for blue and green, if many LEDs have it"
    measure: ClassVar[str] = "full red, green and blue, one after the other"
    source: ClassVar[str] = PRACTICE

    def act(self, built: Built) -> None:
        """As Fault.act."""
        built.off[self.at(built)] = True


class ChannelOn(_OfChannel):
    """One channel of an LED is always fully lit."""

    name: ClassVar[str] = "channel-on"
    stage: ClassVar[Stage] = "strip"
    looks: ClassVar[str] = "one LED glows in one colour when the wall is black"
    alike: ClassVar[str] = "a map that lights it; an LED whose data are disturbed"
    measure: ClassVar[str] = "the black picture; then the LED without data"
    source: ClassVar[str] = PRACTICE

    def act(self, built: Built) -> None:
        """As Fault.act."""
        position, channel = self.at(built)
        built.on[position, channel] = True
        if "I" in built.display.chip.channels:  # else it would be lit at no intensity
            built.on[position, -1] = True


class ChannelWeak(_OfChannel):
    """One channel of an LED gives less light than it should, at the same current."""

    name: ClassVar[str] = "channel-weak"
    stage: ClassVar[Stage] = "strip"
    looks: ClassVar[str] = "white has a slight cast at one LED"
    alike: ClassVar[str] = "a dirty front, if all channels have it; LEDs of another batch, if many"
    measure: ClassVar[str] = "full red, green and blue beside a neighbour"
    source: ClassVar[str] = PRACTICE

    level: Annotated[float, Field(ge=0, lt=1)] = Field(0.5, description="share of its light")

    def act(self, built: Built) -> None:
        """As Fault.act."""
        built.glow[self.at(built)] *= self.level


class OtherBatch(OfLeds):
    """LEDs of another batch: each colour brighter or darker, so that white has a cast."""

    name: ClassVar[str] = "other-batch"
    stage: ClassVar[Stage] = "strip"
    looks: ClassVar[str] = "a piece differs slightly in brightness and hue, at every level alike"
    alike: ClassVar[str] = "a voltage too low at the piece: then it shows at full white only"
    measure: ClassVar[str] = "a dim white over the joint of both batches; the bin code on the reels"
    source: ClassVar[str] = (
        "WS2812B datasheet, Worldsemi: 390–420 mcd red, 660–720 green, 180–200 blue within one"
        " part; batches of other makers differ more (common practice, no source)"
    )

    red: Factor = Field(0.8, description="light of red beside the rest")
    green: Factor = Field(0.9, description="light of green")
    blue: Factor = Field(1.0, description="light of blue")

    def act(self, built: Built) -> None:
        """As Fault.act."""
        first = built.position(self.line, self.first)
        piece = slice(first, first + self.last - self.first + 1)
        built.glow[piece, :3] *= np.array([self.red, self.green, self.blue])


KINDS: tuple[type[Fault], ...] = (
    LedDark,
    LedSwallows,
    DataOpen,
    LedJoined,
    AgainstArrow,
    OtherChip,
    ChannelOff,
    ChannelOn,
    ChannelWeak,
    OtherBatch,
)
