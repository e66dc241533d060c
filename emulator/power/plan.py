"""A proposal: few feeds and thin wires that still keep every LED above a chosen voltage.

Greedy, and every step is verified by solving the whole network: starting from one feed in the
middle of each piece of strip that power passes along, pieces that are too low get one more,
evenly spaced; then feeds and bus are made as thin as the voltage and the guidance on current
allow. Each supply keeps its volts here; the amperes it then needs are part of the proposal. A bus
is reckoned a `between_m` longer for each feed, so more feeds on one run are reckoned long.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from emulator.description.display import Display
from emulator.description.feeding import SUPPLY_LOAD, complete_power, islands
from emulator.description.power import BusSection, FeedSection, PowerSection
from emulator.errors import OutOfRangeError
from emulator.power.balance import balance
from emulator.power.network import Network, build_network
from emulator.power.solve import Bytes, solve_rails
from emulator.power.wire import CAUTION, FUSE_MARGIN, FUSES_A, ampacity_a, fuse_a
from emulator.power.worst import uniform_drives, worst_frames

FEED_AWG = (24, 22, 20, 18, 16, 14)  # thin to thick; what the pads of a strip take
BUS_AWG = (18, 16, 14, 12, 10, 8, 6, 4)

Load = Callable[[Network], Bytes]  # the frames (K, N, C) planned for, on a network

_GAIN_V = 1e-3  # another round of feeds that lifts the lowest LED by less is not worth it
_MOST_ROUNDS = 32


@dataclass(frozen=True)
class Outcome:
    """What one power section does at the load planned for. led is a position 0…N-1, with its line
    and number on it; supply_a: current of each supply. wires_carry: all within the guidance on
    ampacity, with the margin of a fuse."""

    power: PowerSection
    lowest_v: float
    led: int
    line: int
    led_on_line: int
    supply_a: tuple[float, ...]
    wires_carry: bool


@dataclass(frozen=True)
class Plan:
    """Before and after. `reason` says why it is impossible, '' where it is possible; `after` is
    then the best that was found."""

    least_v: float
    level: float | None
    before: Outcome
    after: Outcome
    reason: str = ""
    caution: str = CAUTION

    @property
    def possible(self) -> bool:
        return not self.reason


def plan_power(display: Display, least_v: float, level: float | None = None) -> Plan:
    """Propose feeds and gauges that keep every LED at or above `least_v`.

    level: drive of every channel of every LED, 0…1; None for the worst pictures that the display
    file's limit allows, full white without one. Raises OutOfRangeError.
    """
    if not ((level is None or 0 <= level <= 1) and 0 < least_v < math.inf):
        raise OutOfRangeError(
            f"a level of {level} and a lowest voltage of {least_v}\n"
            "  To mend: give a level from 0 to 1 and a voltage above 0."
        )
    limit_a = display.power.limit_a

    def drives(network: Network) -> Bytes:
        if level is not None:
            return uniform_drives(display, level)
        return worst_frames(display, network, limit_a)

    section = complete_power(display.power, display.chip, display.wiring, display.grid)
    before = _outcome(display, section, drives)
    after, found = _feed(display, _gauges(section, FEED_AWG[-1], BUS_AWG[-1]), drives, least_v)
    reason = ""
    if not found:
        reason = (
            f"with {len(after.power.feed)} feeds of AWG {FEED_AWG[-1]} and buses of AWG"
            f" {BUS_AWG[-1]}, LED {after.led_on_line} of line {after.line} still gets"
            f" {after.lowest_v:.2f} V"
        )
    elif not after.wires_carry:
        reason = (
            f"with feeds of AWG {FEED_AWG[-1]} and buses of AWG {BUS_AWG[-1]}, a wire still"
            " carries more than the guidance on ampacity allows"
        )
    else:
        after = _thinned(display, after, drives, least_v)
    return Plan(least_v, level, before, _with_amps(after), reason)


def _outcome(display: Display, section: PowerSection, drives: Load) -> Outcome:
    network = build_network(display, section)
    rails = solve_rails(network, drives(network), display.chip, np.inf)
    current = balance(network, rails).wire_current_a.max(axis=0)
    carry = all(
        _carries(wire.kind, float(amps), wire.area_mm2)
        for wire, amps in zip(network.wires, current, strict=True)
        if wire.area_mm2 is not None
    )
    volts = rails.led_volts.min(axis=0)
    led = int(volts.argmin())
    wiring = display.wiring
    return Outcome(
        section,
        float(volts[led]),
        led,
        int(wiring.line[led]),
        int(wiring.led[led]),
        tuple(rails.supply_current_a.max(axis=0).tolist()),
        carry,
    )


def _carries(kind: str, amps: float, area_mm2: float) -> bool:
    """Whether a wire may carry so much, with a common fuse that protects it where it has one."""
    if kind != "jumper" and FUSE_MARGIN * amps <= FUSES_A[-1]:
        return fuse_a(amps, area_mm2) is not None
    return bool(FUSE_MARGIN * amps <= ampacity_a(area_mm2))


def _feed(
    display: Display, section: PowerSection, drives: Load, least_v: float
) -> tuple[Outcome, bool]:
    """Feeds added until every LED is high enough, or more no longer help; whether they are."""
    pieces = list(_pieces(display, section))
    counts = [1] * len(pieces)
    best: Outcome | None = None
    for _ in range(_MOST_ROUNDS):
        tried = _outcome(display, _fed(display, section, pieces, counts), drives)
        if tried.lowest_v >= least_v:
            return tried, True
        if best is not None and tried.lowest_v < best.lowest_v + _GAIN_V:
            break
        best = tried
        network = build_network(display, tried.power)
        volts = solve_rails(network, drives(network), display.chip, np.inf).led_volts.min(axis=0)
        low = [volts[first : last + 1].min() < least_v for first, last, _ in pieces]
        more = [
            count + 1 if is_low and count <= last - first else count
            for count, is_low, (first, last, _) in zip(counts, low, pieces, strict=True)
        ]
        if more == counts:
            break
        counts = more
    assert best is not None  # the first round sets it or returns
    return best, False


def _pieces(display: Display, section: PowerSection) -> Iterator[tuple[int, int, int]]:
    """(first, last, supply) of each piece of strip power passes along, as positions 0…N-1."""
    wiring = display.wiring
    positions = [wiring.line_starts[f.line] + f.led for f in section.feed]
    for runs in islands(wiring, jumpers=section.jumper is not None):
        head, tail = wiring.runs[runs[0]], wiring.runs[runs[-1]]
        first = wiring.line_starts[head.line] + head.first
        last = wiring.line_starts[tail.line] + tail.last
        inside = (
            f.supply for f, p in zip(section.feed, positions, strict=True) if first <= p <= last
        )
        yield first, last, next(inside, 0)


def _fed(
    display: Display,
    section: PowerSection,
    pieces: list[tuple[int, int, int]],
    counts: list[int],
) -> PowerSection:
    """The section with `counts` feeds in each piece, evenly spaced, wired like its first feed."""
    wiring, model = display.wiring, section.feed[0]
    feeds = []
    for (first, last, supply), count in zip(pieces, counts, strict=True):
        middles = (np.arange(count) + 0.5) / count * (last - first + 1) - 0.5
        for at in first + np.round(middles).astype(int):
            line, led = int(wiring.line[at]), int(wiring.led[at])
            feeds.append(model.model_copy(update={"line": line, "led": led, "supply": supply}))
    return section.model_copy(update={"feed": feeds})


def _gauges(section: PowerSection, feed_awg: int, bus_awg: int) -> PowerSection:
    def gauged(wire: FeedSection | BusSection, awg: int) -> FeedSection | BusSection:
        return wire.model_copy(update={"awg": awg, "mm2": None})

    feeds = [gauged(f, feed_awg) for f in section.feed]
    buses = [gauged(b, bus_awg) for b in section.bus]
    return section.model_copy(update={"feed": feeds, "bus": buses})


def _thinned(display: Display, thick: Outcome, drives: Load, least_v: float) -> Outcome:
    """The thinnest feeds, then the thinnest buses that still do."""

    def first_good(choices: list[tuple[int, int]], fallback: Outcome) -> tuple[Outcome, int, int]:
        for feed_awg, bus_awg in choices:
            tried = _outcome(display, _gauges(thick.power, feed_awg, bus_awg), drives)
            if tried.lowest_v >= least_v and tried.wires_carry:
                return tried, feed_awg, bus_awg
        return fallback, FEED_AWG[-1], BUS_AWG[-1]

    found, feed_awg, _ = first_good([(f, BUS_AWG[-1]) for f in FEED_AWG[:-1]], thick)
    if not thick.power.bus:
        return found
    return first_good([(feed_awg, b) for b in BUS_AWG[:-1]], found)[0]


def _with_amps(outcome: Outcome) -> Outcome:
    """The outcome with supplies large enough to be loaded to SUPPLY_LOAD, in whole amperes."""
    supplies = [
        s.model_copy(update={"amps": max(s.amps or 0.0, float(math.ceil(amps / SUPPLY_LOAD)))})
        for s, amps in zip(outcome.power.supply, outcome.supply_a, strict=True)
    ]
    power = outcome.power.model_copy(update={"supply": supplies})
    return Outcome(
        power, outcome.lowest_v, outcome.led, outcome.line, outcome.led_on_line, outcome.supply_a,
        outcome.wires_carry,
    )  # fmt: skip
