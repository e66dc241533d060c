"""The kinds of the power: joints, feeds, wires and supplies; + and ground each by itself.

With any of them, chips reset below their least voltage: they go dark until new data come, and pass
no data on while they are down.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product
from typing import Annotated, ClassVar, Literal, Self

from pydantic import Field

from emulator.description.display import Display
from emulator.description.faults.built import Built, PowerJoint
from emulator.description.faults.fault import (
    PRACTICE,
    Fault,
    Number,
    OfLine,
    Sometimes,
    Stage,
    Wrong,
    no_led,
)
from emulator.description.power import THICKEST_AWG, THINNEST_AWG, SupplySection

OPEN_OHM = 1e9  # of an open joint: 5 nA at 5 V
POOR_OHM = (
    1.0  # of a joint that is cold or loose in its screw: 0.5 to 5 Ω (common practice, no source)
)

# No datasheet says at which voltage a chip resets. Builders run chips of 5 V at 3.3 V (common
# practice, no source), so it is below that; this share of the nominal volts is an assumption.
LEAST_SHARE = 0.5
# WS2812B datasheet, Worldsemi: supply 3.5 V at least, of 5 V; taken for all parts.
_PROMISED_SHARE = 0.7

_OHMS = "Ohm's and Kirchhoff's laws; both conductors solved, checked against ngspice"
_RESET = (
    "WS2812B datasheet, Worldsemi: supply 3.5 V at least; that a chip resets below some voltage and"
    " passes nothing on is common practice, no source"
)

Conductor = Literal["plus", "ground"]
Ohms = Annotated[float, Field(gt=0, le=OPEN_OHM)] | Literal["open"]
_BOTH: tuple[Conductor, ...] = ("plus", "ground")
_OHM: tuple[Ohms, ...] = ("open", POOR_OHM)


def _ohm(value: float | Literal["open"]) -> float:
    return OPEN_OHM if value == "open" else float(value)


class _OfPower(Fault):
    """Base of the kinds of the power."""

    def act(self, built: Built) -> None:
        """As Fault.act."""
        if built.least_v is None:
            built.least_v = LEAST_SHARE * built.display.chip.volts
        self.change(built)

    def change(self, built: Built) -> None:
        """Change joints or power of the wall."""
        raise NotImplementedError


class PowerJointBad(Sometimes, OfLine, _OfPower):
    """The + or the ground joint between two LEDs is open, or has some ohms."""

    name: ClassVar[str] = "power-joint"
    stage: ClassVar[Stage] = "power"
    looks: ClassVar[str] = (
        "all behind it, up to the next feed, is dark or dim and reddish; less in dim pictures"
    )
    alike: ClassVar[str] = "the other conductor's joint; an open data joint, if all of it is dark"
    measure: ClassVar[str] = (
        "volts between + and ground on both sides of the joint, lit; then along + and along ground:"
        " what is wrong drops volts"
    )
    source: ClassVar[str] = _OHMS

    after: Number = Field(description="the LED before the joint, on that line")
    conductor: Conductor = Field(description="plus or ground")
    ohm: Ohms = Field("open", description="open, or ohms that the joint adds")

    def judge(self, display: Display) -> Iterator[Wrong]:
        """As Fault.judge."""
        found = [*no_led("after", self.line, self.after, display)]
        yield from found
        if not found and not _power_passes(display, self.line, self.after):
            yield Wrong("after", f"no power passes behind LED {self.after} of line {self.line}",
                        "name a joint within a run; [power.jumper] joins runs.")  # fmt: skip

    def change(self, built: Built) -> None:
        """As _OfPower.change."""
        position = built.position(self.line, self.after)
        built.joints.append(PowerJoint(self.conductor, "rail", position, _ohm(self.ohm)))

    @classmethod
    def everywhere(cls, display: Display) -> Iterator[Self]:
        """As Fault.everywhere: each joint of each conductor, open; between runs, where it is
        soldered by hand, also poor."""
        run, starts = display.wiring.run, display.wiring.line_starts
        for line, leds in enumerate(display.wiring.line_lengths):
            for after in range(leds):
                if not _power_passes(display, line, after):
                    continue
                by_hand = run[starts[line] + after] != run[starts[line] + after + 1]
                for one, ohm in product(_BOTH, _OHM if by_hand else _OHM[:1]):
                    yield cls(line=line, after=after, conductor=one, ohm=ohm)


def _power_passes(display: Display, line: int, after: int) -> bool:
    wiring = display.wiring
    if after + 1 >= wiring.line_lengths[line]:
        return False
    position = wiring.line_starts[line] + after
    same_run = wiring.run[position] == wiring.run[position + 1]
    return bool(same_run) or display.power.jumper is not None


class _OfFeed(_OfPower):
    """Base of the kinds whose place is a feed."""

    feed: Number = Field(
        description="the feed, from 0: as [[power.feed]] lists them, or else one for each run"
    )

    def judge(self, display: Display) -> Iterator[Wrong]:
        """As Fault.judge."""
        feeds = len(display.whole_power.feed)
        if self.feed >= feeds:
            yield Wrong("feed", f"there is no feed {self.feed}", f"use 0 to {feeds - 1}.")


class FeedMissing(_OfFeed):
    """A feed is missing: neither + nor ground arrives there."""

    name: ClassVar[str] = "feed-missing"
    stage: ClassVar[Stage] = "power"
    looks: ClassVar[str] = "its run is dark, or dim and reddish away from other feeds"
    alike: ClassVar[str] = "one of its conductors open; a blown fuse"
    measure: ClassVar[str] = "volts at the solder points of the feed; the fuse"
    source: ClassVar[str] = _OHMS

    def change(self, built: Built) -> None:
        """As _OfPower.change."""
        built.joints.append(PowerJoint("both", "feed", self.feed, OPEN_OHM))

    @classmethod
    def everywhere(cls, display: Display) -> Iterator[Self]:
        """As Fault.everywhere."""
        for feed in range(len(display.whole_power.feed)):
            yield cls(feed=feed)


class _JointOfFeed(Sometimes, _OfFeed):
    """Base of the kinds of a joint in one conductor on the way to a feed."""

    wire: ClassVar[Literal["feed", "bus"]]

    conductor: Conductor = Field(description="plus or ground")
    ohm: Ohms = Field("open", description="open, or ohms that the joint adds")

    def change(self, built: Built) -> None:
        """As _OfPower.change."""
        built.joints.append(PowerJoint(self.conductor, self.wire, self.feed, _ohm(self.ohm)))

    @classmethod
    def everywhere(cls, display: Display) -> Iterator[Self]:
        """As Fault.everywhere: open, and poor."""
        for feed in range(len(display.whole_power.feed)):
            if cls.wire == "feed" or _on_bus(display, feed):
                for one, ohm in product(_BOTH, _OHM):
                    yield cls(feed=feed, conductor=one, ohm=ohm)


class FeedJointBad(_JointOfFeed):
    """One conductor of a feed is open, or has some ohms."""

    name: ClassVar[str] = "feed-joint"
    stage: ClassVar[Stage] = "power"
    wire: ClassVar[Literal["feed", "bus"]] = "feed"
    looks: ClassVar[str] = "its run is dark, or dim and reddish; of some ohms only when bright"
    alike: ClassVar[str] = "a missing feed; the other conductor of it"
    measure: ClassVar[str] = "volts along + and along ground, from the supply to the solder points"
    source: ClassVar[str] = _OHMS


class BusJointBad(_JointOfFeed):
    """One conductor of the bus is open, or has some ohms, before the tap of a feed."""

    name: ClassVar[str] = "bus-joint"
    stage: ClassVar[Stage] = "power"
    wire: ClassVar[Literal["feed", "bus"]] = "bus"
    looks: ClassVar[str] = (
        "all runs fed from there on along the bus are dark, or dim and reddish; with some ohms only"
        " in bright pictures"
    )
    alike: ClassVar[str] = "several bad feeds; a supply too small, if it is the first piece"
    measure: ClassVar[str] = "volts between + and ground at the taps, one after the other, lit"
    source: ClassVar[str] = _OHMS

    def judge(self, display: Display) -> Iterator[Wrong]:
        """As Fault.judge."""
        found = [*super().judge(display)]
        yield from found
        if not found and not _on_bus(display, self.feed):
            yield Wrong("feed", f"feed {self.feed} is on no bus", "use the kind feed-joint.")


def _on_bus(display: Display, feed: int) -> bool:
    power = display.whole_power
    return power.feed[feed].supply in {bus.supply for bus in power.bus}


class WrongGauge(_OfFeed):
    """The wire of a feed, or the bus that it taps, is thinner than planned."""

    name: ClassVar[str] = "wrong-gauge"
    stage: ClassVar[Stage] = "power"
    looks: ClassVar[str] = "white is dimmer and redder along its run; the wire gets warm"
    alike: ClassVar[str] = "a joint of some ohms; a longer wire"
    measure: ClassVar[str] = (
        "volts along the wire at full white; the print on its insulation. Feel for heat only with"
        " the power off"
    )
    source: ClassVar[str] = "ASTM B258, IEC 60028: resistance of copper wire"

    awg: Annotated[int, Field(ge=THICKEST_AWG, le=THINNEST_AWG)] = Field(
        28, description="gauge of the wire that is there"
    )
    wire: Literal["feed", "bus"] = Field(
        "feed", description="the wire of the feed, or the whole bus of its supply"
    )

    def judge(self, display: Display) -> Iterator[Wrong]:
        """As Fault.judge."""
        found = [*super().judge(display)]
        yield from found
        if not found and self.wire == "bus" and not _on_bus(display, self.feed):
            yield Wrong("feed", f"feed {self.feed} is on no bus", "name the wire feed.")

    def change(self, built: Built) -> None:
        """As _OfPower.change."""
        feeds, buses = list(built.power.feed), list(built.power.bus)
        thin = {"awg": self.awg, "mm2": None}
        if self.wire == "feed":
            feeds[self.feed] = feeds[self.feed].model_copy(update=thin)
        else:
            supply = feeds[self.feed].supply
            buses = [bus.model_copy(update=thin) if bus.supply == supply else bus for bus in buses]
        built.power = built.power.model_copy(update={"feed": feeds, "bus": buses})

    @classmethod
    def everywhere(cls, display: Display) -> Iterator[Self]:
        """As Fault.everywhere."""
        taken: set[int] = set()
        for feed, planned in enumerate(display.whole_power.feed):
            yield cls(feed=feed)
            if planned.supply not in taken and _on_bus(display, feed):
                taken.add(planned.supply)
                yield cls(feed=feed, wire="bus")


class _OfSupply(_OfPower):
    """Base of the kinds whose place is a supply."""

    supply: Number = Field(0, description="the supply, from 0")

    def judge(self, display: Display) -> Iterator[Wrong]:
        """As Fault.judge."""
        supplies = len(display.whole_power.supply)
        if self.supply >= supplies:
            yield Wrong("supply", f"there is no supply {self.supply}", f"use 0 to {supplies - 1}.")

    def facts(self) -> dict[str, object]:
        """What the supply has instead of the plan."""
        raise NotImplementedError

    def change(self, built: Built) -> None:
        """As _OfPower.change."""
        supplies: list[SupplySection] = list(built.power.supply)
        supplies[self.supply] = supplies[self.supply].model_copy(update=self.facts())
        built.power = built.power.model_copy(update={"supply": supplies})


class SupplySmall(_OfSupply):
    """A supply gives less current than planned, and its voltage falls above that."""

    name: ClassVar[str] = "supply-small"
    stage: ClassVar[Stage] = "power"
    looks: ClassVar[str] = "bright pictures turn red or go dark all over; dim ones are right"
    alike: ClassVar[str] = "a supply set too low; a thin wire from the supply"
    measure: ClassVar[str] = "volts at the supply's terminals at full white; its label"
    source: ClassVar[str] = PRACTICE

    amps: Annotated[float, Field(gt=0, le=10_000)] = Field(description="what it gives at most")

    def facts(self) -> dict[str, object]:
        """As _OfSupply.facts."""
        return {"amps": self.amps, "overload": "fold back"}

    @classmethod
    def everywhere(cls, display: Display) -> Iterator[Self]:
        """As Fault.everywhere: half of the amps that are planned."""
        for number, supply in enumerate(display.whole_power.supply):
            yield cls(supply=number, amps=round((supply.amps or 1.0) / 2, 3))


class SupplyTrips(_OfSupply):
    """A supply switches off above some current, and tries again after a while."""

    name: ClassVar[str] = "supply-trips"
    stage: ClassVar[Stage] = "power"
    looks: ClassVar[str] = "a bright picture makes all go dark and come back, again and again"
    alike: ClassVar[str] = "a loose plug; a computer that restarts"
    measure: ClassVar[str] = "volts at the supply's terminals when it happens; its label"
    source: ClassVar[str] = PRACTICE

    amps: Annotated[float, Field(gt=0, le=10_000)] = Field(
        description="the current above which it switches off"
    )
    retry_s: Annotated[float, Field(ge=0.001, le=3600)] = Field(
        1.0, description="how long it stays off"
    )

    def facts(self) -> dict[str, object]:
        """As _OfSupply.facts."""
        return {"amps": self.amps, "overload": "trip", "retry_s": self.retry_s}

    @classmethod
    def everywhere(cls, display: Display) -> Iterator[Self]:
        """As Fault.everywhere: half of the amps that are planned."""
        for number, supply in enumerate(display.whole_power.supply):
            yield cls(supply=number, amps=round((supply.amps or 1.0) / 2, 3))


class SupplyLow(_OfSupply):
    """A supply is set to a lower voltage than planned."""

    name: ClassVar[str] = "supply-low"
    stage: ClassVar[Stage] = "power"
    looks: ClassVar[str] = "white turns warm or red early along the runs"
    alike: ClassVar[str] = "a supply too small, but here dim pictures are warm far out, too"
    measure: ClassVar[str] = "volts at the supply's terminals, with the wall dark"
    source: ClassVar[str] = PRACTICE

    volts: Annotated[float, Field(gt=0, le=60)] = Field(4.5, description="its output voltage")

    def facts(self) -> dict[str, object]:
        """As _OfSupply.facts."""
        return {"volts": self.volts}

    @classmethod
    def everywhere(cls, display: Display) -> Iterator[Self]:
        """As Fault.everywhere: a tenth lower than planned."""
        for number, supply in enumerate(display.whole_power.supply):
            yield cls(supply=number, volts=round(0.9 * (supply.volts or 5.0), 3))


class ChipsReset(_OfPower):
    """Chips reset below a voltage, on a wall whose power is as planned."""

    name: ClassVar[str] = "chips-reset"
    stage: ClassVar[Stage] = "power"
    looks: ClassVar[str] = "far ends flash and go dark in bright pictures"
    alike: ClassVar[str] = "a loose data joint, but it comes with bright pictures alone"
    measure: ClassVar[str] = "volts between + and ground at the LEDs that go dark, at full white"
    source: ClassVar[str] = _RESET

    volts: Annotated[float, Field(gt=0, le=60)] = Field(
        3.5, description="volts below which a chip resets; the datasheet promises 3.5 of 5 V"
    )

    def change(self, built: Built) -> None:
        """As _OfPower.change."""
        built.least_v = self.volts

    @classmethod
    def everywhere(cls, display: Display) -> Iterator[Self]:
        """As Fault.everywhere: once."""
        yield cls(volts=_PROMISED_SHARE * display.chip.volts)


KINDS: tuple[type[Fault], ...] = (
    PowerJointBad,
    FeedMissing,
    FeedJointBad,
    BusJointBad,
    WrongGauge,
    SupplySmall,
    SupplyTrips,
    SupplyLow,
    ChipsReset,
)
