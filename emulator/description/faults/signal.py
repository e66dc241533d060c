"""The kinds of the signal: the way of the data from the controller to the first LED of a line.

After the first LED every chip sends the data on with its own supply, so these faults affect only
the first one. `emulator.signal.disturbed` has the physics.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Annotated, Any, ClassVar, Self

from pydantic import Field

from emulator.description.chips import Clocked
from emulator.description.display import Display
from emulator.description.faults.built import Built
from emulator.description.faults.fault import (
    PRACTICE,
    Fault,
    Number,
    Sometimes,
    Stage,
    Wrong,
    no_line,
)

_LEVELS = (
    "WS2812B datasheet, Worldsemi: VIH at least 0.7 VDD, VIL at most 0.3 VDD; between the two the"
    " datasheet promises nothing, and many chips switch lower (common practice, no source)"
)
# Pick-up of a data wire beside power wires: an assumption, no source.
_PICK_UP_V_PER_M = 0.1
_SETTLED_V = 0.05  # noise of a wire at rest: an assumption, no source

Volts = Annotated[float, Field(gt=0, le=15)]


class _OfData(Fault):
    """Base of the kinds whose place is the data wire of a line, or of all lines."""

    line: Number | None = Field(None, description="the line, from 0; all lines if left out")

    def judge(self, display: Display) -> Iterator[Wrong]:
        """As Fault.judge."""
        if self.line is not None:
            yield from no_line("line", self.line, display)

    def change(self, built: Built, **facts: Any) -> None:
        """Give the data wires other facts."""
        noise_v = facts.pop("noise_v", _SETTLED_V)
        for number, data in enumerate(built.data):
            if self.line in (None, number):
                most_v = max(noise_v, data.noise_v)
                built.data[number] = replace(data, noise_v=most_v, **facts)

    @classmethod
    def everywhere(cls, display: Display) -> Iterator[Self]:
        """As Fault.everywhere."""
        for line in range(len(display.wiring.line_lengths)):
            yield cls(line=line)


class LowLogic(_OfData):
    """The data is of 3.3 V where the chip, at 5 V, needs 3.5 V: on the edge.

    The supply of the first LED at that moment decides: it falls under load, and the level that the
    chip needs falls with it. So this can fail with a dark picture and work with a bright one.
    """

    name: ClassVar[str] = "low-logic"
    stage: ClassVar[Stage] = "signal"
    looks: ClassVar[str] = (
        "nothing, or random colours and flicker on the whole line; it may work with bright"
        " pictures and fail with dark ones"
    )
    alike: ClassVar[str] = "no common ground; a motor's noise; a data joint that is loose"
    measure: ClassVar[str] = (
        "volts between + and ground at the first LED with the wall dark: 0.7 of them must be less"
        " than the high level at its DIN"
    )
    source: ClassVar[str] = _LEVELS

    volts: Volts = Field(3.3, description="high level of the controller")
    threshold: Annotated[float, Field(ge=0.3, le=0.9)] = Field(
        0.7, description="share of its supply at which this chip switches; 0.7 is the worst allowed"
    )

    def act(self, built: Built) -> None:
        """As Fault.act."""
        self.change(built, high_v=self.volts, threshold=self.threshold)


class LongWire(_OfData):
    """The data wire to the first LED is long: slow edges, and it picks up noise.

    Reflections are not modelled: a real wire may fail sooner.
    """

    name: ClassVar[str] = "long-wire"
    stage: ClassVar[Stage] = "signal"
    looks: ClassVar[str] = "sparkles on the line, more with every metre; at last nothing"
    alike: ClassVar[str] = "data of 3.3 V; a motor's noise"
    measure: ClassVar[str] = (
        "a scope from DIN to ground of the first LED: slow edges; or a short wire in its place:"
        " does it work then?"
    )
    source: ClassVar[str] = (
        "WS2812B datasheet, Worldsemi: input of 15 pF; 100 pF a metre, 100 Ω and 0.1 V of noise a"
        " metre are assumptions, no source; RC low-pass"
    )

    metres: Annotated[float, Field(gt=0, le=1000)] = Field(
        10.0, description="from the controller to the first LED"
    )
    pf_per_m: Annotated[float, Field(ge=10, le=1000)] = Field(
        100.0, description="capacitance of the wire"
    )
    driver_ohm: Annotated[float, Field(ge=1, le=10_000)] = Field(
        100.0, description="of the controller's output with its series resistor"
    )

    def act(self, built: Built) -> None:
        """As Fault.act."""
        tau_ns = self.driver_ohm * (self.metres * self.pf_per_m + 15) / 1000
        self.change(built, tau_ns=tau_ns, noise_v=_PICK_UP_V_PER_M * self.metres)


class NoCommonGround(Sometimes, _OfData):
    """The controller's ground is not joined to that of the LEDs: the levels mean nothing.

    From frame to frame the two grounds are apart by any voltage up to the high level.
    """

    name: ClassVar[str] = "no-common-ground"
    stage: ClassVar[Stage] = "signal"
    looks: ClassVar[str] = "random flicker, or nothing; right now and then"
    alike: ClassVar[str] = "data of 3.3 V; it goes away when USB joins the grounds by another way"
    measure: ClassVar[str] = (
        "power off: less than 1 Ω from the controller's ground to the ground of the first LED"
    )
    source: ClassVar[str] = "reports of builders (common practice, no source); the drift is assumed"

    def act(self, built: Built) -> None:
        """As Fault.act."""
        self.change(built, floats=True)


class GroundLifted(_OfData):
    """The controller's ground is joined at the supply: the LEDs' current raises their own ground.

    It is raised by the drop of that current in the ground conductors up to the first LED.
    """

    name: ClassVar[str] = "ground-lifted"
    stage: ClassVar[Stage] = "signal"
    looks: ClassVar[str] = "right while dim, random colours on the line when bright"
    alike: ClassVar[str] = "a supply too small; an open ground joint"
    measure: ClassVar[str] = (
        "volts between the controller's ground and that of the first LED at full white: below 0.3 V"
    )
    source: ClassVar[str] = f"Ohm's law; {_LEVELS}"

    mohm: Annotated[float, Field(ge=0, le=100_000)] = Field(
        100.0, description="of a ground wire that all current and the data share, in milliohms"
    )

    def act(self, built: Built) -> None:
        """As Fault.act."""
        self.change(built, far_ground=True, shared_ohm=self.mohm / 1000)


class MotorNoise(Sometimes, _OfData):
    """A motor or relay disturbs the data wire whenever it runs."""

    name: ClassVar[str] = "motor-noise"
    stage: ClassVar[Stage] = "signal"
    looks: ClassVar[str] = "bursts of random colours over the whole line"
    alike: ClassVar[str] = "a loose data joint near the controller; no common ground"
    measure: ClassVar[str] = (
        "does it come with the motor, the fridge, the lift? A scope from DIN to ground of the first"
        " LED then shows spikes"
    )
    source: ClassVar[str] = f"{PRACTICE}; Gaussian noise at each pulse is an assumption"

    share: float = Field(0.1, gt=0, le=1, description="share of the time that it runs")
    noise_v: Annotated[float, Field(gt=0, le=50)] = Field(
        0.7, description="noise on the data wire, rms, in volts"
    )

    def act(self, built: Built) -> None:
        """As Fault.act."""
        self.change(built, noise_v=self.noise_v)


class BusyComputer(Sometimes, _OfData):
    """The computer stops in the middle of a frame, and sends the rest late.

    A pause of the reset time or more ends the frame: the data after it starts again at LED 0.
    Chips that latch by an end frame or by zero bytes wait: their frame is late, and right.
    """

    name: ClassVar[str] = "busy-computer"
    stage: ClassVar[Stage] = "signal"
    looks: ClassVar[str] = "now and then the first LEDs flash what belongs further down the line"
    alike: ClassVar[str] = "a motor's noise, but here the colours are those of the picture"
    measure: ClassVar[str] = (
        "a capture from DIN to ground of the first LED: the longest low within a frame"
    )
    source: ClassVar[str] = "WS2812B datasheet, Worldsemi: a low of the reset time latches"

    share: float = Field(0.1, gt=0, le=1, description="share of the time that it is busy")
    pause_us: Annotated[float, Field(gt=0, le=1e6)] = Field(
        400.0, description="how long it stops, once in such a frame"
    )

    def act(self, built: Built) -> None:
        """As Fault.act."""
        self.change(built, noise_v=0.0, pause_ns=round(self.pause_us * 1000))


class ClockOff(_OfData):
    """The controller's clock is off: all its pulses are longer or shorter.

    A chip tells bits by how long they are high, so a few per cent change nothing.
    """

    name: ClassVar[str] = "clock-off"
    stage: ClassVar[Stage] = "signal"
    looks: ClassVar[str] = "nothing up to about 25 %; then black (too fast) or white (too slow)"
    alike: ClassVar[str] = "the timing of another chip in the controller's code"
    measure: ClassVar[str] = "a capture of the data wire: `foreglow decode` judges its times"
    source: ClassVar[str] = (
        "the datasheet's times, ±150 ns for the WS2812B; the chip's threshold midway between them"
        " is an assumption, no source"
    )

    percent: Annotated[float, Field(ge=-90, le=1000)] = Field(
        description="how much longer the pulses are, below 0: shorter"
    )

    def judge(self, display: Display) -> Iterator[Wrong]:
        """As Fault.judge."""
        yield from super().judge(display)
        yield from _needs_one_wire(display)

    def act(self, built: Built) -> None:
        """As Fault.act."""
        self.change(built, noise_v=0.0, stretch=1 + self.percent / 100)

    @classmethod
    def everywhere(cls, display: Display) -> Iterator[Self]:
        """As Fault.everywhere: a few per cent, and enough to matter, both ways."""
        if not isinstance(display.chip.wire, Clocked):
            for line in range(len(display.wiring.line_lengths)):
                for percent in (-40.0, -3.0, 3.0, 60.0):
                    yield cls(line=line, percent=percent)


class SpiSpeed(_OfData):
    """The SPI port that sends the data runs at another speed than the code expects.

    It changes the pulses of one-wire chips. A chip with a clock line follows any speed up to its
    fastest; above that it is taken to miss clock pulses, as many as the speed is too high.
    """

    name: ClassVar[str] = "spi-speed"
    stage: ClassVar[Stage] = "signal"
    looks: ClassVar[str] = (
        "all black (too fast) or all white (too slow); chips with a clock line: random colours"
    )
    alike: ClassVar[str] = "a clock that is off"
    measure: ClassVar[str] = "a capture of MOSI: `foreglow decode` judges its times"
    source: ClassVar[str] = (
        "`emulator/ports/spi`: 3 SPI bits an LED bit at 2.4 MHz; a divider of the core clock makes"
        " the speed, so it moves with that clock (BCM2835 ARM Peripherals); what a chip does above"
        " its fastest clock is an assumption, no source"
    )

    mhz: Annotated[float, Field(gt=0, le=100)] = Field(
        4.0, description="the speed that the port really has"
    )
    planned_mhz: Annotated[float, Field(gt=0, le=100)] = Field(
        2.4, description="the speed for which the code makes the bits of one-wire chips"
    )

    def act(self, built: Built) -> None:
        """As Fault.act."""
        wire = built.display.chip.wire
        if isinstance(wire, Clocked):
            too_fast = min(max(self.mhz * 1e6 / wire.most_hz - 1, 0.0), 1.0)
            stretch = built.display.controller.clock_mhz / self.mhz
            self.change(built, noise_v=0.0, stretch=stretch, clocks_missed=too_fast)
        else:
            self.change(built, noise_v=0.0, stretch=self.planned_mhz / self.mhz)

    @classmethod
    def everywhere(cls, display: Display) -> Iterator[Self]:
        """As Fault.everywhere: a core clock of 400 MHz where 250 were meant, and half of it; or
        twice the fastest clock."""
        wire = display.chip.wire
        speeds = (2 * wire.most_hz / 1e6,) if isinstance(wire, Clocked) else (3.84, 1.2)
        for line in range(len(display.wiring.line_lengths)):
            for mhz in speeds:
                yield cls(line=line, mhz=mhz)


class ResetShort(_OfData):
    """The line rests low too short after a frame, then high: no frame is ever latched.

    Of chips with a clock line it concerns those that latch when the clock rests.
    """

    name: ClassVar[str] = "reset-short"
    stage: ClassVar[Stage] = "signal"
    looks: ClassVar[str] = "the line never shows anything, or keeps its first picture"
    alike: ClassVar[str] = "an open data joint before the first LED"
    measure: ClassVar[str] = "a capture of the data wire: the low between two frames"
    source: ClassVar[str] = (
        "datasheets: the WS2812B needs more than 50 µs, later parts 280 µs; MOSI of some computers"
        " rests high (common practice, no source)"
    )

    low_us: Annotated[float, Field(ge=0, le=1e6)] = Field(
        20.0, description="how long the line is low after a frame"
    )

    def act(self, built: Built) -> None:
        """As Fault.act."""
        self.change(built, noise_v=0.0, low_ns=round(self.low_us * 1000))

    def judge(self, display: Display) -> Iterator[Wrong]:
        """As Fault.judge."""
        yield from super().judge(display)
        if not _rests(display):
            what = f"{display.chip.part} needs no rest after a frame"
            yield Wrong("kind", what, "use another kind: `foreglow faults` lists them.")

    @classmethod
    def everywhere(cls, display: Display) -> Iterator[Self]:
        """As Fault.everywhere."""
        if _rests(display):
            yield from super().everywhere(display)


def _rests(display: Display) -> bool:
    wire = display.chip.wire
    return not isinstance(wire, Clocked) or wire.latch == "rest"


def _needs_one_wire(display: Display) -> Iterator[Wrong]:
    if isinstance(display.chip.wire, Clocked):
        what = f"{display.chip.part} takes its bits by a clock wire, whatever their length"
        yield Wrong("kind", what, "use another kind: `foreglow faults` lists them.")


KINDS: tuple[type[Fault], ...] = (
    LowLogic,
    LongWire,
    NoCommonGround,
    GroundLifted,
    MotorNoise,
    BusyComputer,
    ClockOff,
    SpiSpeed,
    ResetShort,
)
