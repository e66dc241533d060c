"""A proposal: few feeds and thin wires that still keep every LED above a chosen voltage.

The planner keeps what the display file says about supplies, feeds, wires, jumpers and limit. It is
greedy, and solves the whole network to verify every step. First, pieces of strip whose voltage is
too low, or whose feeds carry too much, get more feeds (`placing`) until all are high enough. Then
wires without a stated gauge become as thin as the voltage and the guidance on ampacity and fuses
allow. Stated wires become thicker only if there is no other way, and a supply becomes larger only
if it cannot give the current needed; `Plan.changes` names each.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from emulator.description.display import Display
from emulator.description.feeding import SUPPLY_LOAD, complete_power
from emulator.description.power import BusSection, FeedSection, PowerSection, SupplySection
from emulator.errors import OutOfRangeError
from emulator.power.changes import changes
from emulator.power.fusing import fusing, spread_frames, wire_peaks
from emulator.power.network import build_network
from emulator.power.placing import Piece, pieces_of, with_feeds
from emulator.power.solve import solve_rails
from emulator.power.wire import CAUTION, pair_area_mm2
from emulator.power.worst import uniform_drives, worst_frames

# From thin to thick: gauges that the pads of a strip take, and gauges of a bus.
FEED_AWG, BUS_AWG = (24, 22, 20, 18, 16, 14), (18, 16, 14, 12, 10, 8, 6, 4)
FEED_MM2 = (0.25, 0.5, 0.75, 1.0, 1.5, 2.5)
BUS_MM2 = (0.75, 1.0, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0)

# More feeds are not worth it if they raise the lowest LED by less than this share of what it lacks.
# The search stops after so many times as many feeds without a gain.
_GAIN_SHARE = 0.05
_MOST_IDLE = 2.0
_MOST_ROUNDS = 40


@dataclass(frozen=True)
class Outcome:
    """The result of one power section at the planned load.

    power: as it would be in the display file. lowest_v: of all LEDs. led: the position 0…N-1 of
    that LED, with its line and its number there. supply_a: the most that each supply must give.
    carries: no wire is above the guidance on ampacity or without the fuse it needs. short: LEDs
    whose voltage is too low, or that are at a feed or jumper that carries too much.
    """

    power: PowerSection
    lowest_v: float
    led: int
    line: int
    led_on_line: int
    supply_a: tuple[float, ...]
    carries: bool
    short: frozenset[int]

    def does(self, least_v: float) -> bool:
        """Whether every LED gets `least_v` and no wire carries too much."""
        return self.lowest_v >= least_v and self.carries


@dataclass(frozen=True)
class Plan:
    """A plan: the outcome before and after.

    reason: why no plan is possible, and `after` is then the best that was found; '' if it is
    possible. changes: the values of the file that the plan changes, in words.
    """

    least_v: float
    level: float | None
    before: Outcome
    after: Outcome
    changes: tuple[str, ...] = ()
    reason: str = ""
    caution: str = CAUTION

    @property
    def possible(self) -> bool:
        """Whether the plan keeps its promise."""
        return not self.reason


@dataclass(frozen=True)
class _Gauges:
    """A gauge for feeds and one for buses; over: also in place of thinner ones in the file."""

    feed: tuple[str, float]
    bus: tuple[str, float]
    over: bool = False

    def on(self, power: PowerSection) -> PowerSection:
        feeds = [self._of(wire, self.feed) for wire in power.feed]
        buses = [self._of(wire, self.bus) for wire in power.bus]
        return power.model_copy(update={"feed": feeds, "bus": buses})

    def _of(self, wire: FeedSection | BusSection, gauge: tuple[str, float]) -> object:
        enough = not self.over or pair_area_mm2(wire.gauge) >= pair_area_mm2(gauge)
        if wire.gauge_is_stated and enough:
            return wire
        kind, number = gauge
        figures = {"awg": None, "mm2": number} if kind == "mm2" else {"awg": number, "mm2": None}
        return wire.model_copy(update=figures)


class _Ladder:
    """Gauges from thin to thick: metric if the file gives one in mm²."""

    def __init__(self, power: PowerSection, over: bool) -> None:
        wires = [*power.feed, *power.bus, *([power.jumper] if power.jumper else [])]
        metric = any(wire.mm2 is not None for wire in wires)
        kind = "mm2" if metric else "awg"
        feeds, buses = (FEED_MM2, BUS_MM2) if metric else (FEED_AWG, BUS_AWG)
        self.feeds = [(kind, number) for number in feeds]
        self.buses = [(kind, number) for number in buses]
        self.over = over

    def thickest(self) -> _Gauges:
        return _Gauges(self.feeds[-1], self.buses[-1], self.over)


def plan_power(display: Display, least_v: float, level: float | None = None) -> Plan:
    """Propose feeds and gauges that keep every LED at or above `least_v`.

    least_v: in volts. level: drive of every channel of every LED, 0…1; None for the worst pictures
    that the display file's limit allows (full white without a limit). Raises OutOfRangeError.
    """
    if not ((level is None or 0 <= level <= 1) and 0 < least_v < math.inf):
        raise OutOfRangeError(
            f"the level is {level} and the lowest voltage {least_v}",
            fix="give a level from 0 to 1 and a voltage above 0.",
        )
    search = _Search(display, least_v, level)
    before = search.outcome(display.power)
    pieces = pieces_of(display)
    ladders = [_Ladder(display.power, over) for over in (False, True)]
    if len({repr(ladder.thickest().on(display.power)) for ladder in ladders}) == 1:
        del ladders[1]  # the file states no gauge that could be thicker
    for ladder in ladders:
        after = search.fed(pieces, ladder)
        if after.does(least_v):
            after = search.thinned(after, ladder)
            return Plan(least_v, level, before, after, changes(display, after.power))
    return Plan(least_v, level, before, after, (), _reason(after, least_v))


def promised_v(display: Display, level: float | None = None) -> float:
    """The lowest LED voltage of a display as it is, at the load that `plan_power` plans for. [V]

    Its supplies have their own amperes. level: as in `plan_power`.
    """
    network = build_network(display)
    if level is None:
        frames = worst_frames(display, network, display.power.limit_a)
    else:
        frames = uniform_drives(display, level)
    return float(solve_rails(network, frames, display.chip).led_volts.min())


def _reason(after: Outcome, least_v: float) -> str:
    wires = f"with {len(after.power.feed)} feeds and the thickest wires of the planner"
    if after.lowest_v < least_v:
        return (
            f"{wires}, LED {after.led_on_line} of line {after.line} still gets"
            f" {after.lowest_v:.2f} V"
        )
    return (
        f"{wires}, a wire still carries more than the guidance on ampacity allows, or has no fuse"
        " that protects it; share the load among more supplies"
    )


class _Search:
    """Tries power sections on a display, and keeps the best."""

    def __init__(self, display: Display, least_v: float, level: float | None) -> None:
        self.display, self.least_v, self.level = display, least_v, level
        self.limit_a = display.power.limit_a

    def outcome(self, power: PowerSection) -> Outcome:
        """Solve the display with a section whose supplies are made large enough."""
        display, wiring = self.display, self.display.wiring
        network = build_network(display, power)
        if self.level is None:
            frames = worst_frames(display, network, self.limit_a)
            lit = np.concatenate([frames, spread_frames(display)])
        else:
            frames = lit = uniform_drives(display, self.level)
        peaks = wire_peaks(display, network, lit, self.limit_a)
        volts = peaks.rails.led_volts[: len(frames)].min(axis=0)
        most_a = np.minimum(peaks.rails.supply_current_a.max(axis=0), self.limit_a or np.inf)
        sized = _sized(display, power, most_a.tolist())
        rated = [supply.amps for supply in self._complete(sized).supply]
        fused = [
            fusing(wire, float(amps), None if wire.supply is None else rated[wire.supply])
            for wire, amps in zip(network.wires, peaks.current_a, strict=True)
        ]
        short = set(np.flatnonzero(volts < self.least_v).tolist())
        for number, (wire, found) in enumerate(zip(network.wires, fused, strict=True)):
            if wire.kind in ("feed", "jumper") and not found.sound:
                ends = network.ends[network.wire == number]
                short |= {int(end) for end in ends.flat if end < display.leds}
        led = int(volts.argmin())
        return Outcome(
            sized, float(volts[led]), led, int(wiring.line[led]), int(wiring.led[led]),
            tuple(most_a.tolist()), all(f.sound for f in fused), frozenset(short),
        )  # fmt: skip

    def _complete(self, power: PowerSection) -> PowerSection:
        display = self.display
        return complete_power(power, display.chip, display.wiring, display.placement)

    def fed(self, pieces: Sequence[Piece], ladder: _Ladder) -> Outcome:
        """Add feeds until every LED is high enough and no wire carries too much, or more feeds no
        longer help. Of those added last, only as many are kept as are needed."""
        listed = bool(self.display.power.feed)
        known = self._complete(self.display.power)
        rungs = [0 if listed else self._supplies_on(piece, known) for piece in pieces]
        enough: list[int] | None = None
        best = tried = self._tried(pieces, rungs, ladder)
        before, gained_at = rungs, self._feeds(best)
        for _ in range(_MOST_ROUNDS):
            if tried.does(self.least_v):
                enough = rungs
                break
            if self._feeds(tried) > _MOST_IDLE * gained_at:
                break
            more = [
                min(rung + max(1, (rung + len(piece.kept)) // 3), piece.most())
                if self._is_short(piece, tried)
                else rung
                for piece, rung in zip(pieces, rungs, strict=True)
            ]
            if more == rungs:
                break
            before, rungs = rungs, more
            tried = self._tried(pieces, rungs, ladder)
            lacking_v = self.least_v - best.lowest_v
            if tried.lowest_v > best.lowest_v + _GAIN_SHARE * max(lacking_v, 0.0):
                gained_at = self._feeds(tried)
            if tried.does(self.least_v) or tried.lowest_v > best.lowest_v:
                best = tried
        while enough is not None and any(b + 1 < e for b, e in zip(before, enough, strict=True)):
            middle = [(b + e) // 2 if b + 1 < e else e for b, e in zip(before, enough, strict=True)]
            tried = self._tried(pieces, middle, ladder)
            if tried.does(self.least_v):
                best, enough = tried, middle
            else:
                before = middle
                if middle == enough:
                    break
        return best

    def _feeds(self, outcome: Outcome) -> int:
        return len(outcome.power.feed) or len(self.display.wiring.runs)

    def _supplies_on(self, piece: Piece, known: PowerSection) -> int:
        """How many feeds to begin with: one, or one for each supply that would feed the piece."""
        wiring = self.display.wiring
        inside = {
            feed.supply
            for feed in known.feed
            if piece.first <= wiring.line_starts[feed.line] + feed.led <= piece.last
        }
        return max(1, len(inside))

    def _tried(self, pieces: Sequence[Piece], rungs: list[int], ladder: _Ladder) -> Outcome:
        places = [at for p, rung in zip(pieces, rungs, strict=True) for at in p.places(rung)]
        return self.outcome(ladder.thickest().on(with_feeds(self.display, places)))

    def _is_short(self, piece: Piece, tried: Outcome) -> bool:
        return not tried.short.isdisjoint(range(piece.first, piece.last + 1))

    def thinned(self, thick: Outcome, ladder: _Ladder) -> Outcome:
        """The thinnest feeds, then the thinnest buses, that are still enough."""
        best, gauges = thick, ladder.thickest()
        base = self.unsized(thick.power)
        choices = [_Gauges(feed, gauges.bus, ladder.over) for feed in ladder.feeds[:-1]]
        best, gauges = self._first_that_does(base, choices, best, gauges)
        if thick.power.bus:
            choices = [_Gauges(gauges.feed, bus, ladder.over) for bus in ladder.buses[:-1]]
            best, gauges = self._first_that_does(base, choices, best, gauges)
        return best

    def unsized(self, power: PowerSection) -> PowerSection:
        """The section with the plan's feeds, and gauges and supplies as the file states them."""
        places = {(f.line, f.led, f.supply): f for f in self.display.power.feed}
        models = {f.supply: f for f in self._complete(self.display.power).feed}

        def gauge(feed: FeedSection) -> FeedSection:
            model = places.get((feed.line, feed.led, feed.supply)) or models[feed.supply]
            return feed.model_copy(update={"awg": model.awg, "mm2": model.mm2})

        stated = {bus.supply: bus for bus in self.display.power.bus}
        buses = [
            bus.model_copy(
                update={
                    "awg": stated[bus.supply].awg if bus.supply in stated else None,
                    "mm2": stated[bus.supply].mm2 if bus.supply in stated else None,
                }
            )
            for bus in power.bus
        ]
        return power.model_copy(
            update={
                "supply": self.display.power.supply,
                "feed": [gauge(f) for f in power.feed],
                "bus": buses,
            }
        )

    def _first_that_does(
        self, base: PowerSection, choices: list[_Gauges], best: Outcome, gauges: _Gauges
    ) -> tuple[Outcome, _Gauges]:
        for choice in choices:
            tried = self.outcome(choice.on(base))
            if tried.does(self.least_v):
                return tried, choice
        return best, gauges


def _sized(display: Display, power: PowerSection, most_a: Sequence[float]) -> PowerSection:
    """The section with supplies that can give `most_a`.

    A supply without stated amps is loaded to SUPPLY_LOAD at most, in whole amperes. A supply with
    stated amps is kept if it can give the current at all.
    """
    listed = power.supply or [SupplySection()]
    known = complete_power(power, display.chip, display.wiring, display.placement).supply
    supplies = []
    for supply, complete, asked_a in zip(listed, known, most_a, strict=True):
        needed = float(math.ceil(round(asked_a / SUPPLY_LOAD, 6)))
        amps = supply.amps
        if amps is None:
            amps = max(complete.amps or 0.0, needed)
        elif amps < asked_a:
            amps = needed
        supplies.append(supply if amps == supply.amps else supply.model_copy(update={"amps": amps}))
    return power.model_copy(update={"supply": supplies})
