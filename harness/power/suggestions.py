"""Suggests changes to the power of a display; tries each by solving the changed display."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property, partial

import numpy as np

from emulator.arrays import Bytes, Floats
from emulator.description.display import Display
from emulator.description.feeding import SUPPLY_LOAD, complete_power
from emulator.description.power import BusSection, FeedSection, PowerSection
from emulator.power.changes import gauge_words
from emulator.power.fusing import spread_frames, wire_peaks
from emulator.power.network import build_network
from emulator.power.plan import plan_power
from emulator.power.solve import solve_rails
from emulator.power.worst import uniform_drives, worst_frames
from harness.power.assessment import Assessment, WireUse
from harness.power.calculation import load_of, supply_uses, wire_uses
from harness.power.findings import LOST_WARNING, too_thin

THICKER_AWG = (24, 22, 20, 18, 16, 14, 12, 10, 8, 6, 4, 2)
THICKER_MM2 = (0.25, 0.5, 0.75, 1.0, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0, 35.0)

_ROLES_OF = {"bus": ("supply to bus", "bus"), "feed": ("feed",)}

MORE_SUPPLIES = (2, 4, 8)

LOW_SHARE = 0.9  # of the supply's voltage: below it, look at the wires. Ours.
PLANNED_LEDS = 25_000  # a plan for more LEDs takes long: only `--plan` makes it

GAIN_V = 0.1  # a change that lifts the lowest voltage by less is not worth it. Ours.

Wire = FeedSection | BusSection


@dataclass(frozen=True)
class Suggestion:
    """One change, and what it does: a figure before and after it, both solved."""

    what: str
    figure: str
    before: float
    after: float
    unit: str

    def __str__(self) -> str:
        form = ".0%" if self.unit == "" else ".2f"
        unit = f" {self.unit}" if self.unit else ""
        return f"{self.what}: {self.figure} {self.before:{form}} → {self.after:{form}}{unit}"


def suggest(
    display: Display, assessment: Assessment, with_plan: bool = True
) -> tuple[Suggestion, ...]:
    """Changes to supplies, wires and feeds that help if one of them is near or over its limit.

    with_plan: may suggest a new plan of all feeds, if nothing smaller is enough. Never for
    PLANNED_LEDS and more.
    """
    power = complete_power(display.power, display.chip, display.wiring, display.placement)
    return (
        *_supplies(display, power, assessment),
        *_wires(display, power, assessment),
        *_voltage(display, power, assessment, with_plan),
    )


class _Trial:
    """A display with changed power; solves only what is asked.

    The figures are those of its assessment. One frame can show at a fraction of the cost that a
    change is not enough: the lowest voltage of all frames is at most that of this frame, and the
    largest current at least that of this frame.
    """

    def __init__(self, display: Display, power: PowerSection) -> None:
        self._display = dataclasses.replace(display, power=power)
        self._network = build_network(self._display)

    def _volts(self, drives: Bytes) -> Floats:
        """(T, N) volts for frames (T, N, C), from supplies that hold their voltage."""
        return solve_rails(self._network, drives, self._display.chip, math.inf).led_volts

    @cached_property
    def _frames(self) -> Bytes:
        return worst_frames(self._display, self._network, self._display.power.limit_a)

    @cached_property
    def lowest_v(self) -> float:
        return float(self._volts(self._frames).min())

    @cached_property
    def lowest_frame(self) -> Bytes:
        """The frame (1, N, C) in which an LED gets the lowest voltage."""
        at = int(self._volts(self._frames).min(axis=1).argmin())
        return self._frames[at : at + 1]

    def reaches(self, least_v: float, worst: Bytes) -> bool:
        """Whether no LED gets less than `least_v`. worst: a frame (1, N, C) to try first."""
        return float(self._volts(worst).min()) >= least_v and self.lowest_v >= least_v

    def uses(self, roles: Sequence[str]) -> list[WireUse]:
        """The wires of some roles, with the most current that they can carry."""
        lit = np.concatenate([spread_frames(self._display), self._frames])
        return self._uses(roles, lit)

    def _uses(self, roles: Sequence[str], lit: Bytes) -> list[WireUse]:
        peaks = wire_peaks(self._display, self._network, lit, self._display.power.limit_a)
        return [use for use in wire_uses(self._network, peaks) if use.kind in roles]

    def carries(self, roles: Sequence[str]) -> bool:
        """Whether no wire of some roles is too thin."""
        some = self._uses(roles, spread_frames(self._display))
        return not any(map(too_thin, some)) and not any(map(too_thin, self.uses(roles)))

    def share(self, supply: int) -> float:
        """The load of a supply."""
        white = uniform_drives(self._display, 1.0)
        rails = solve_rails(self._network, white, self._display.chip, math.inf)
        load = load_of("full white", self._display, white, rails)
        return supply_uses(self._network, load, self._display.power.limit_a)[supply].share


def _changed(power: PowerSection, **changes: object) -> PowerSection:
    return power.model_copy(update=changes)


def _supplies(display: Display, power: PowerSection, a: Assessment) -> Iterator[Suggestion]:
    for called, supply, numbers in a.supply_rows:
        if supply.share <= SUPPLY_LOAD + 1e-9:
            continue
        figure = f"load of {called}"
        limit_a = math.floor(SUPPLY_LOAD * supply.rated_a * 100) / 100
        if len(a.supplies) == 1 and limit_a > a.dark.asked_a:
            after = _Trial(display, _changed(power, limit_a=limit_a)).share(0)
            lit = (limit_a - a.dark.asked_a) / (a.white.asked_a - a.dark.asked_a)
            what = f"limit to {limit_a:g} A ({lit:.0%} of full white)"
            yield Suggestion(what, figure, supply.share, after, "")
        amps = float(math.ceil(supply.heaviest_a / SUPPLY_LOAD))
        supplies = list(power.supply)
        for number in numbers:
            supplies[number] = supplies[number].model_copy(update={"amps": amps})
        after = _Trial(display, _changed(power, supply=supplies)).share(numbers[0])
        yield Suggestion(f"buy {amps:g} A for {called}", figure, supply.share, after, "")


def _wires(display: Display, power: PowerSection, a: Assessment) -> Iterator[Suggestion]:
    """The thinnest gauge that carries the current, for the feeds and for the buses."""
    for kind, words in (("bus", "the bus"), ("feed", "the feeds")):
        thin = [w for w in a.wires if w.kind in _ROLES_OF[kind] and too_thin(w)]
        if not thin:
            continue

        def share(uses: Sequence[WireUse]) -> float:
            return max(use.current_a / (use.ampacity_a or 1e-3) for use in uses)

        carries = partial(_Trial.carries, roles=_ROLES_OF[kind])
        gauge, tried, enough = _smallest(display, list(_thicker(power, kind)), carries)
        if tried and enough:
            before = share([use for use in a.wires if use.kind in _ROLES_OF[kind]])
            after = share(tried.uses(_ROLES_OF[kind]))
            figure = f"current of {words} against its guidance"
            yield Suggestion(f"use {gauge} for {words}", figure, before, after, "")


def _voltage(
    display: Display, power: PowerSection, a: Assessment, with_plan: bool
) -> Iterator[Suggestion]:
    """A feed where the voltage is lowest, thicker wires, more supplies, or a new plan."""
    low = a.lowest_held
    wanted_v = LOW_SHARE * min(s.volts for s in a.supplies)
    if low.volts >= wanted_v and 1 - min(low.delivered) <= LOST_WARNING:
        return
    wanted_v = max(wanted_v, low.volts + GAIN_V)
    found = [
        Suggestion(what, "lowest voltage", low.volts, after, "V")
        for what, after in _lifts(display, power, a, wanted_v)
        if after >= low.volts + GAIN_V
    ]
    if (
        with_plan
        and display.leds < PLANNED_LEDS
        and all(suggestion.after < wanted_v for suggestion in found)
    ):
        found.extend(_planned(display, a, round(wanted_v, 2)))
    yield from sorted(found, key=lambda s: -s.after)


def _lifts(
    display: Display, power: PowerSection, a: Assessment, wanted_v: float
) -> Iterator[tuple[str, float]]:
    """For each kind of change, the smallest that reaches the voltage, else the largest; and the
    lowest voltage with it."""
    low, worst = a.lowest_held, _Trial(display, display.power).lowest_frame
    fed = _Trial(display, _fed(power, low.line, low.led))
    yield f"add a feed at LED {low.led} of line {low.line}", fed.lowest_v
    choices = [
        [(f"use {gauge} for {words}", thicker) for gauge, thicker in _thicker(power, kind)]
        for kind, words in (("bus", "the bus"), ("feed", "the feeds"))
    ]
    for ladder in (*choices, list(_shared(display, power))):
        what, tried, _ = _smallest(display, ladder, lambda trial: trial.reaches(wanted_v, worst))
        if tried:
            yield what, tried.lowest_v


def _smallest(
    display: Display,
    ladder: Sequence[tuple[str, PowerSection]],
    does: Callable[[_Trial], bool],
) -> tuple[str, _Trial | None, bool]:
    """The smallest change of a ladder that does what is wanted, as words and a trial, and True; or
    the largest one, and False. None if the ladder is empty.

    Each step is taken to help more than the one before, so only a few are tried: the largest, then
    halves of the others.
    """
    if not ladder:
        return "", None, False
    what, best = ladder[-1][0], _Trial(display, ladder[-1][1])
    if not does(best):
        return what, best, False
    fails, enough = -1, len(ladder) - 1
    while enough - fails > 1:
        middle = (fails + enough) // 2
        trial = _Trial(display, ladder[middle][1])
        if does(trial):
            enough, what, best = middle, ladder[middle][0], trial
        else:
            fails = middle
    return what, best, True


def _shared(display: Display, power: PowerSection) -> Iterator[tuple[str, PowerSection]]:
    """The runs in blocks, each with its own supply and bus; only if no feeds are listed."""
    if display.power.feed or len(power.supply) > 1:
        return
    (supply,) = power.supply
    for count in MORE_SUPPLIES:
        if count <= len(display.wiring.runs):
            amps = float(math.ceil((supply.amps or 0) / count))
            one = supply.model_copy(update={"amps": amps, "name": None})
            buses = [
                bus.model_copy(update={"supply": n}) for n in range(count) for bus in power.bus
            ]
            shared = _changed(display.power, supply=[one] * count, bus=buses)
            yield f"share the runs among {count} supplies of {amps:g} A, a bus each", shared


def _planned(display: Display, a: Assessment, wanted_v: float) -> Iterator[Suggestion]:
    plan = plan_power(display, wanted_v)
    if plan.possible:
        feeds = plan.after.power.feed
        buses = plan.after.power.bus
        bus = f", buses of {gauge_words(buses[0].gauge)}" if buses else ""
        what = (
            f"{len(feeds)} feeds of {gauge_words(feeds[0].gauge)}{bus}"
            f" (foreglow power {a.display} --plan {wanted_v:g})"
        )
        after = _Trial(display, plan.after.power).lowest_v
        if after >= a.lowest_held.volts + GAIN_V:
            yield Suggestion(what, "lowest voltage", a.lowest_held.volts, after, "V")


def _fed(power: PowerSection, line: int, led: int) -> PowerSection:
    """One feed more, with the wires of the nearest feed on its line."""

    def distance(number: int) -> float:
        feed = power.feed[number]
        return abs(feed.led - led) if feed.line == line else math.inf

    nearest = min(range(len(power.feed)), key=distance)
    more = power.feed[nearest].model_copy(update={"line": line, "led": led})
    feeds = [*power.feed[: nearest + 1], more, *power.feed[nearest + 1 :]]
    return _changed(power, feed=feeds)


def _thicker(power: PowerSection, kind: str) -> Iterator[tuple[str, PowerSection]]:
    """Every next thicker gauge for all buses or all feeds, as words and as a section."""
    wires: list[Wire] = list(power.bus if kind == "bus" else power.feed)
    if not wires:
        return
    metric = wires[0].gauge[0] == "mm2"
    key, sizes = ("mm2", THICKER_MM2) if metric else ("awg", THICKER_AWG)
    thinner: Callable[[float], bool] = lambda size: any(  # noqa: E731
        w.gauge[1] < size if metric else w.gauge[1] > size for w in wires
    )
    for size in filter(thinner, sizes):
        other = "awg" if metric else "mm2"
        gauged = [w.model_copy(update={key: size, other: None}) for w in wires]
        words = f"{size:g} mm²" if metric else f"AWG {size}"
        yield words, _changed(power, **{kind: gauged})
