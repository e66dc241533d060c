"""What to change about the power of a display, each tried by solving the changed display."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from emulator.description.display import Display
from emulator.description.feeding import SUPPLY_LOAD, complete_power
from emulator.description.power import BusSection, FeedSection, PowerSection
from emulator.power.changes import gauge_words
from emulator.power.plan import plan_power
from harness.power.assessment import Assessment
from harness.power.calculation import assess
from harness.power.findings import LOST_WARNING, too_thin

THICKER_AWG = (24, 22, 20, 18, 16, 14, 12, 10, 8, 6, 4, 2)
THICKER_MM2 = (0.25, 0.5, 0.75, 1.0, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0, 35.0)

_ROLES_OF = {"bus": ("supply to bus", "bus"), "feed": ("feed",)}

MORE_SUPPLIES = (2, 4, 8)

LOW_SHARE = 0.9  # of the supply's volts: below, the wires are worth a thought. Ours.
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


def suggest(display: Display, assessment: Assessment) -> tuple[Suggestion, ...]:
    """Changes to supplies, wires and feeds that help where something is short of room."""
    power = complete_power(display.power, display.chip, display.wiring, display.grid)
    return (
        *_supplies(display, power, assessment),
        *_wires(display, power, assessment),
        *_voltage(display, power, assessment),
    )


def _tried(display: Display, power: PowerSection) -> Assessment:
    return assess(dataclasses.replace(display, power=power))


def _changed(power: PowerSection, **changes: object) -> PowerSection:
    return power.model_copy(update=changes)


def _supplies(display: Display, power: PowerSection, a: Assessment) -> Iterator[Suggestion]:
    for number, supply in enumerate(a.supplies):
        if supply.share <= SUPPLY_LOAD + 1e-9:
            continue
        figure = f"load of {supply.name}"
        limit_a = math.floor(SUPPLY_LOAD * supply.rated_a * 100) / 100
        if len(a.supplies) == 1 and limit_a > a.dark.asked_a:
            after = _tried(display, _changed(power, limit_a=limit_a)).supplies[0].share
            lit = (limit_a - a.dark.asked_a) / (a.white.asked_a - a.dark.asked_a)
            what = f"limit to {limit_a:g} A ({lit:.0%} of full white)"
            yield Suggestion(what, figure, supply.share, after, "")
        amps = float(math.ceil(supply.heaviest_a / SUPPLY_LOAD))
        supplies = list(power.supply)
        supplies[number] = supplies[number].model_copy(update={"amps": amps})
        after = _tried(display, _changed(power, supply=supplies)).supplies[number].share
        yield Suggestion(f"buy {amps:g} A for {supply.name}", figure, supply.share, after, "")


def _wires(display: Display, power: PowerSection, a: Assessment) -> Iterator[Suggestion]:
    """The thinnest gauge that carries the current, for the feeds and for the buses."""
    for kind, words in (("bus", "the bus"), ("feed", "the feeds")):
        thin = [w for w in a.wires if w.kind in _ROLES_OF[kind] and too_thin(w)]
        if not thin:
            continue

        def share(tried: Assessment, kind: str = kind) -> float:
            uses = [w for w in tried.wires if w.kind in _ROLES_OF[kind]]
            return max(w.current_a / (w.ampacity_a or 1e-3) for w in uses)

        for gauge, thicker in _thicker(power, kind):
            tried = _tried(display, thicker)
            if not any(w.kind in _ROLES_OF[kind] and too_thin(w) for w in tried.wires):
                figure = f"current of {words} against its guidance"
                yield Suggestion(f"use {gauge} for {words}", figure, share(a), share(tried), "")
                break


def _voltage(display: Display, power: PowerSection, a: Assessment) -> Iterator[Suggestion]:
    """A feed where the voltage is lowest, thicker wires, more supplies, all feeds anew."""
    low = a.lowest_held
    wanted_v = LOW_SHARE * min(s.volts for s in a.supplies)
    if low.volts >= wanted_v and 1 - min(low.delivered) <= LOST_WARNING:
        return
    found = []
    wanted_v = max(wanted_v, low.volts + GAIN_V)
    for what, changed in _lifts(display, power, a, wanted_v):
        after = _tried(display, changed).lowest_held.volts
        if after >= low.volts + GAIN_V:
            found.append(Suggestion(what, "lowest voltage", low.volts, after, "V"))
    if all(suggestion.after < wanted_v for suggestion in found):
        found.extend(_planned(display, a, round(wanted_v, 2)))
    yield from sorted(found, key=lambda s: -s.after)


def _lifts(
    display: Display, power: PowerSection, a: Assessment, wanted_v: float
) -> Iterator[tuple[str, PowerSection]]:
    """Of each kind of change the smallest that reaches the voltage, or else the largest."""
    low = a.lowest_held
    yield f"add a feed at LED {low.led} of line {low.line}", _fed(power, low.line, low.led)
    choices = [
        [(f"use {gauge} for {words}", thicker) for gauge, thicker in _thicker(power, kind)]
        for kind, words in (("bus", "the bus"), ("feed", "the feeds"))
    ]
    for ladder in (*choices, list(_shared(display, power))):
        for what, changed in ladder:
            if _tried(display, changed).lowest_held.volts >= wanted_v:
                yield what, changed
                break
        else:
            yield from ladder[-1:]


def _shared(display: Display, power: PowerSection) -> Iterator[tuple[str, PowerSection]]:
    """The runs in blocks, each with a supply and a bus of its own; where feeds are not listed."""
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
        after = _tried(display, plan.after.power).lowest_held.volts
        if after >= a.lowest_held.volts + GAIN_V:
            yield Suggestion(what, "lowest voltage", a.lowest_held.volts, after, "V")


def _fed(power: PowerSection, line: int, led: int) -> PowerSection:
    """One feed more, listed and wired like the nearest on its line."""

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
