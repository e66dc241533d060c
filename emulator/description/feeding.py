"""Completes the power section of a display: fills in defaults and finds faults."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from emulator.description.chips import Chip
from emulator.description.outline import Cell, Outline, Side, cell_of, nearer_end
from emulator.description.placement import Placement
from emulator.description.places import Loc
from emulator.description.power import BusSection, FeedSection, PowerSection, SupplySection
from emulator.description.route import length_mm, route
from emulator.description.wiring import Wiring

Fault = Callable[[Loc, str, str], None]

SUPPLY_LOAD = 0.8  # load a supply to 80 %: common practice, no source

LEAST_M = 0.01  # of wire between two feeds that tap a bus at the same place

# Of wires from a supply of which [board] does not say the place: own figures.
UNPLACED_BUS_M, UNPLACED_FEED_M = 0.5, 0.1

# Limits of a supply's voltage, relative to the chip's nominal voltage. WS2812B datasheet: 3.5 to
# 5.3 V for a chip of 5 V; the lower limit allows a supply that you turn down on purpose.
_LEAST_VOLTS, _MOST_VOLTS = 0.6, 1.1


def complete_power(
    section: PowerSection, chip: Chip, wiring: Wiring, placement: Placement
) -> PowerSection:
    """The section with every supply, feed, bus and length filled in.

    Supplies without amps share the current of full white / 0.8, in whole amperes. If no feed is
    listed, every run gets a feed at its end on one side of the wall, where the data begins.
    The supplies share the runs in blocks, and each supply has a bus. If a bus does not give the
    distance between its feeds, it runs along the sides of the wall.
    """
    listed = section.supply or [SupplySection()]
    white_a = full_white_a(chip, len(wiring.placed)) + dark_a(chip, int(wiring.hidden.sum()))
    amps = math.ceil(white_a / SUPPLY_LOAD / len(listed))
    supplies = [
        s.model_copy(
            update={
                "name": s.name or f"supply {number}",
                "volts": s.volts or chip.volts,
                "amps": s.amps or float(amps),
            }
        )
        for number, s in enumerate(listed)
    ]
    outline = Outline.of(placement, wiring)
    feeds, buses = section.feed, section.bus
    side = None if feeds else outline.first[0]
    if not feeds:
        feeds = _feeds_at_one_side(outline, wiring, len(supplies))
        buses = buses or [BusSection(supply=number) for number in range(len(supplies))]
    buses = [_to_first(bus, feeds, outline, wiring, side) for bus in buses]
    feeds = _with_bus_lengths(feeds, buses, outline, wiring, side)
    feeds = _with_lengths(feeds, buses, outline, wiring, side)
    return section.model_copy(update={"supply": supplies, "feed": feeds, "bus": buses})


def _feeds_at_one_side(outline: Outline, wiring: Wiring, supplies: int) -> list[FeedSection]:
    side = outline.first[0]
    blocks = np.array_split(np.arange(len(wiring.runs)), supplies)
    feeds = []
    for supply, block in enumerate(blocks):
        for run in (wiring.runs[number] for number in block):
            led = nearer_end(outline, run, side)
            feeds.append(FeedSection(line=run.line, led=led, supply=supply))
    return feeds


def _with_bus_lengths(
    feeds: list[FeedSection],
    buses: list[BusSection],
    outline: Outline,
    wiring: Wiring,
    side: Side | None,
) -> list[FeedSection]:
    """The feeds, each with the length of bus before it; the first on a bus has to_first_m.

    side: the side on which all of them tap the bus; None: each on its nearest side.
    """
    before: dict[int, FeedSection] = {}
    known: list[FeedSection] = []
    by_supply = {bus.supply: bus for bus in buses}
    for feed in feeds:
        bus, last = by_supply.get(feed.supply), before.get(feed.supply)
        before[feed.supply] = feed
        if bus is not None and last is not None and feed.bus_m is None:
            a, b = _cell(wiring, last), _cell(wiring, feed)
            bus_m = bus.between_m or max(outline.along_m(a, b, side), LEAST_M)
            feed = feed.model_copy(update={"bus_m": bus_m})
        known.append(feed)
    return known


def long_m(feed: FeedSection) -> float:
    """Length of a feed of a complete section. [m]"""
    assert feed.length_m is not None  # complete_power fills it in
    return feed.length_m


def _cell(wiring: Wiring, feed: FeedSection) -> Cell:
    return cell_of(wiring, wiring.line_starts[feed.line] + feed.led)


def _to_first(
    bus: BusSection,
    feeds: list[FeedSection],
    outline: Outline,
    wiring: Wiring,
    side: Side | None,
) -> BusSection:
    """The bus with its length from the supply to the first feed: on the board, if it says where
    the supply is."""
    first = next((feed for feed in feeds if feed.supply == bus.supply), None)
    if bus.to_first_m is not None or first is None:
        return bus
    places = outline.placement.board.supplies_mm
    to_first_m = UNPLACED_BUS_M
    if places:
        x, y = places[bus.supply]
        tap = outline.tap_mm(_cell(wiring, first), side)
        way = route((x, y), tap, outline.placement.obstacles)
        to_first_m = outline.cut_m(length_mm(way))
    return bus.model_copy(update={"to_first_m": max(to_first_m, LEAST_M)})


def _with_lengths(
    feeds: list[FeedSection],
    buses: list[BusSection],
    outline: Outline,
    wiring: Wiring,
    side: Side | None,
) -> list[FeedSection]:
    """The feeds, each with the length of its wire from the bus, or from its supply."""
    with_bus = {bus.supply for bus in buses}
    places = outline.placement.board.supplies_mm

    def length(feed: FeedSection) -> float:
        cell = _cell(wiring, feed)
        if feed.supply in with_bus:
            return outline.reach_m(cell, side)
        if not places:
            return UNPLACED_FEED_M
        x, y = places[feed.supply]
        led_x, led_y = outline.placement.led_mm(*cell).tolist()
        return outline.wire_m(length_mm(route((x, y), (led_x, led_y), outline.placement.obstacles)))

    return [
        feed
        if feed.length_m is not None
        else feed.model_copy(update={"length_m": max(length(feed), LEAST_M)})
        for feed in feeds
    ]


def full_white_a(chip: Chip, leds: int) -> float:
    """Current of `leds` LEDs with every channel at full drive, in amperes."""
    colours = len(chip.channels.replace("I", ""))
    return leds * (colours * chip.channel_ma + chip.dark_ma) / 1000


def dark_a(chip: Chip, leds: int) -> float:
    """Current of `leds` dark LEDs, in amperes."""
    return leds * chip.dark_ma / 1000


def judge_power(section: PowerSection, chip: Chip, wiring: Wiring, fault: Fault) -> None:
    """Call `fault(loc, message, fix)` for everything in the section that you cannot build."""
    for number, supply in enumerate(section.supply):
        least, most = _LEAST_VOLTS * chip.volts, _MOST_VOLTS * chip.volts
        if supply.volts is not None and not least <= supply.volts <= most:
            fault(
                ("power", "supply", number, "volts"),
                f"a supply of {supply.volts:g} V for {chip.part}, a chip of {chip.volts:g} V",
                f"use a supply between {least:g} and {most:g} V.",
            )
        if supply.name and supply.name in [s.name for s in section.supply[:number]]:
            loc = ("power", "supply", number, "name")
            fault(loc, f"two supplies are called '{supply.name}'", "give each supply its own name.")
    supplies = max(1, len(section.supply))
    for number, bus in enumerate(section.bus):
        loc = ("power", "bus", number, "supply")
        _judge_supply(bus.supply, supplies, loc, fault)
        if bus.supply in [b.supply for b in section.bus[:number]]:
            fault(loc, f"supply {bus.supply} has two buses", "give each supply one bus.")
    sound = [
        _judge_feed(f, number, supplies, wiring, fault) for number, f in enumerate(section.feed)
    ]
    all_dark_a = dark_a(chip, len(wiring))
    if section.limit_a is not None and section.limit_a <= all_dark_a:
        fault(
            ("power", "limit_a"),
            f"the limit is {section.limit_a:g} A, but the dark LEDs alone take {all_dark_a:.2f} A",
            "give a higher limit.",
        )
    if sound and all(sound):  # else a wrong number in a feed may be why a run has no power
        _judge_islands(section, wiring, fault)


def _judge_supply(number: int, supplies: int, loc: Loc, fault: Fault) -> None:
    if number >= supplies:
        fault(loc, f"there is no supply {number}", f"use 0 to {supplies - 1}, or list the supply.")


def _judge_feed(
    feed: FeedSection, number: int, supplies: int, wiring: Wiring, fault: Fault
) -> bool:
    """Whether the feed's line and LED exist."""
    loc = ("power", "feed", number)
    _judge_supply(feed.supply, supplies, (*loc, "supply"), fault)
    lines = len(wiring.line_lengths)
    if feed.line >= lines:
        fault((*loc, "line"), f"there is no line {feed.line}", f"use 0 to {lines - 1}.")
        return False
    if feed.led >= wiring.line_lengths[feed.line]:
        last = wiring.line_lengths[feed.line] - 1
        message = f"line {feed.line} has no LED {feed.led}"
        fault((*loc, "led"), message, f"use 0 to {last}.")
        return False
    return True


def islands(wiring: Wiring, *, jumpers: bool) -> list[list[int]]:
    """Groups of runs (by number) that share power: a line with jumpers, else a single run."""
    if not jumpers:
        return [[number] for number in range(len(wiring.runs))]
    lines: dict[int, list[int]] = {}
    for number, run in enumerate(wiring.runs):
        lines.setdefault(run.line, []).append(number)
    return list(lines.values())


def _judge_islands(section: PowerSection, wiring: Wiring, fault: Fault) -> None:
    fed = {
        number
        for number, run in enumerate(wiring.runs)
        for feed in section.feed
        if feed.line == run.line and run.first <= feed.led <= run.last
    }
    for island in islands(wiring, jumpers=section.jumper is not None):
        if fed.isdisjoint(island):
            run = wiring.runs[island[0]]
            more = f" and the {len(island) - 1} after it" if len(island) > 1 else ""
            others = "" if section.jumper else ", or add [power.jumper] to join the runs of a line"
            fault(
                ("power", "feed"),
                f"run {island[0]} (line {run.line}, LEDs {run.first} to {run.last}){more} has no"
                " path to a supply",
                f"add a [[power.feed]] with line = {run.line} and led = {run.first}{others}.",
            )
