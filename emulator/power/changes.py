"""Which values of the display file a plan changes, in words."""

from __future__ import annotations

from emulator.description.display import Display
from emulator.description.feeding import complete_power
from emulator.description.power import BusSection, FeedSection, PowerSection, SupplySection

_Stated = SupplySection | BusSection | FeedSection

# Why a plan changes each value; gauges have words of their own.
_WHY = {
    "amps": "is less than the plan needs",
    "to_first_m": "leads to the old first feed; the plan's first feed is elsewhere",
    "bus_m": "is split among the feeds that the plan adds before it",
}


def changes(display: Display, planned: PowerSection) -> tuple[str, ...]:
    """Every value of the display file that the plan changes, with the reason, in words."""
    stated = display.power
    known = complete_power(stated, display.chip, display.wiring, display.placement)
    names = [supply.name or "" for supply in known.supply]
    said: dict[str, list[str]] = {}  # what changes, and on which wires
    for supply, name, new in zip(stated.supply, names, planned.supply, strict=False):
        for words in _changed(supply, new):
            said.setdefault(words, []).append(name)
    buses = {bus.supply: bus for bus in planned.bus}
    for bus in stated.bus:
        for words in _changed(bus, buses[bus.supply]):
            said.setdefault(words, []).append(f"bus of {names[bus.supply]}")
    rest = iter(planned.feed)  # in the order of the file, with new ones among them
    for feed in stated.feed:
        place = feed.line, feed.led, feed.supply
        new_feed = next(f for f in rest if (f.line, f.led, f.supply) == place)
        for words in _changed(feed, new_feed):
            said.setdefault(words, []).append(f"feed at line {feed.line}, LED {feed.led}")
    return tuple(f"{with_its_like(found[0], len(found))}: {words}" for words, found in said.items())


def with_its_like(name: str, count: int) -> str:
    """'supply 0', or 'supply 0 and 3 like it' if there are four."""
    return name if count == 1 else f"{name} and {count - 1} like it"


def _changed(stated: _Stated, planned: _Stated) -> list[str]:
    """The values of one entry that the plan changes, each with the reason."""
    words = []
    if isinstance(stated, (FeedSection, BusSection)) and stated.gauge_is_stated:
        assert isinstance(planned, (FeedSection, BusSection))  # the entries are a pair
        thin, thick = gauge_words(stated.gauge), gauge_words(planned.gauge)
        words += [f"{thin} is too thin; {thick}"] if thin != thick else []
    for key in sorted(stated.model_fields_set - {"awg", "mm2"}):
        old, new = getattr(stated, key), getattr(planned, key)
        if old != new:
            words.append(f"{key} = {old:g} {_WHY[key]}; {new:g}")
    return words


def gauge_words(gauge: tuple[str, float]) -> str:
    """'AWG 18' or '2.5 mm²'."""
    kind, number = gauge
    return f"AWG {number:g}" if kind == "awg" else f"{number:g} mm²"
