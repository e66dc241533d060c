"""The wires to cut: number, from, to, gauge, colour, length; as the geometry has them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal, NamedTuple

from emulator.description.chips import Clocked
from emulator.description.display import Display
from emulator.description.geometry import Geometry
from emulator.description.route import Way
from emulator.power.wire import pair_area_mm2
from harness.power.calculation import gauge_words

Use = Literal["+", "GND", "data", "clock", "backup"]

# Common practice, no source: red for +, black for ground, one other colour for each signal. Colours
# of mains wiring are another matter: local codes fix them.
COLOURS: dict[Use, str] = {
    "+": "red",
    "GND": "black",
    "data": "green",
    "clock": "blue",
    "backup": "yellow",
}
DATA_GAUGE = "AWG 24"  # common practice, no source; 0.2 mm²
DATA_MM2 = 0.2


class CutWire(NamedTuple):
    """One wire. number: of its group, as 'J3'; way: on the board, empty if it is not known."""

    number: str
    use: Use
    start: str
    end: str
    gauge: str
    area_mm2: float
    length_mm: float
    way: Way

    @property
    def label(self) -> str:
        """Its number with its use."""
        return f"{self.number} {self.use}"


def signals(display: Display) -> tuple[Use, ...]:
    """The signals that go from strip to strip."""
    found: list[Use] = ["data"]
    if isinstance(display.chip.wire, Clocked):
        found.append("clock")
    if "BACKUP" in display.board.pads_of(display.chip):
        found.append("backup")
    return tuple(found)


def cut_wires(display: Display, geometry: Geometry) -> tuple[CutWire, ...]:
    """Every wire of the wall: data from the controller, jumpers, feeds, buses."""
    return (
        *_data_in(display, geometry),
        *_jumpers(display, geometry),
        *_feeds(display, geometry),
        *_buses(display, geometry),
    )


def _data_in(display: Display, geometry: Geometry) -> Iterator[CutWire]:
    for line, at in enumerate(display.wiring.line_starts):
        way, length_mm = geometry.data_in(line)
        first = int(display.wiring.run[at])
        for use in (*signals(display), "GND"):
            yield CutWire(
                f"D{line}", use, f"controller, output {line}", f"run {first} start", DATA_GAUGE,
                DATA_MM2, length_mm, way,
            )  # fmt: skip


def jumper_number(geometry: Geometry, run: int) -> str:
    """'J3': of the jumper after a run."""
    return f"J{next(n for n, j in enumerate(geometry.jumpers, 1) if j.run == run)}"


def _jumpers(display: Display, geometry: Geometry) -> Iterator[CutWire]:
    power = display.power.jumper
    for number, jumper in enumerate(geometry.jumpers, 1):
        start, end = f"run {jumper.run} end", f"run {jumper.run + 1} start"
        for use in signals(display):
            yield CutWire(f"J{number}", use, start, end, DATA_GAUGE, DATA_MM2, jumper.length_mm,
                          jumper.way)  # fmt: skip
        if power is None:  # each run has its + and ground from its own feeds
            continue
        area = pair_area_mm2(power.gauge)
        length_mm = jumper.length_mm if power.length_m is None else power.length_m * 1000
        for use in ("+", "GND"):
            yield CutWire(f"J{number}", use, start, end, gauge_words(area), area, length_mm,
                          jumper.way)  # fmt: skip


def feed_place(display: Display, number: int) -> str:
    """Where a feed goes, in words: 'run 3, LED 71 (its first)'."""
    wiring, feed = display.wiring, display.whole_power.feed[number]
    run_number = int(wiring.run[wiring.line_starts[feed.line] + feed.led])
    run = wiring.runs[run_number]
    where = {run.first: "start", run.last: "end"}.get(feed.led)
    return f"run {run_number} {where}" if where else f"run {run_number}, LED {feed.led}"


def _feeds(display: Display, geometry: Geometry) -> Iterator[CutWire]:
    power = display.whole_power
    with_bus = {bus.supply for bus in power.bus}
    for number, feed in enumerate(power.feed):
        supply = power.supply[feed.supply].name or f"supply {feed.supply}"
        start = f"bus of {supply}" if feed.supply in with_bus else supply
        area = pair_area_mm2(feed.gauge)
        for use in ("+", "GND"):
            yield CutWire(
                f"F{number}", use, start, feed_place(display, number), gauge_words(area), area,
                (feed.length_m or 0.0) * 1000, geometry.feed_way(number),
            )  # fmt: skip


def _buses(display: Display, geometry: Geometry) -> Iterator[CutWire]:
    power = display.whole_power
    for bus in power.bus:
        supply = power.supply[bus.supply].name or f"supply {bus.supply}"
        feeds = [(n, f) for n, f in enumerate(power.feed) if f.supply == bus.supply]
        area = pair_area_mm2(bus.gauge)
        before = supply
        for order, (number, feed) in enumerate(feeds):
            length_m = feed.bus_m if order else bus.to_first_m
            for use in ("+", "GND"):
                yield CutWire(
                    f"B{bus.supply}.{order}", use, before, f"tap of F{number}", gauge_words(area),
                    area, (length_m or 0.0) * 1000, (),
                )  # fmt: skip
            before = f"tap of F{number}"
