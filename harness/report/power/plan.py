"""The planner's proposal as text, as TOML for the display file, and as plain data."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from rich.text import Text

from emulator.description.display import Display
from emulator.description.load import display_text
from emulator.description.rewrite import display_at, power_entries, table_text, with_power
from emulator.description.tomltext import toml_value
from emulator.errors import OutOfRangeError
from emulator.power.changes import gauge_words
from emulator.power.plan import Outcome, Plan, promised_v
from harness.result.words import counted, joined


def plan_load(plan: Plan) -> str:
    """What the plan is for, in words."""
    if plan.level is None:
        return "with the worst pictures your limit allows, or full white"
    return f"{plan.level:.0%} drive"


def plan_lines(plan: Plan) -> list[Text]:
    """Before and after, or why there is no plan."""
    lines = [Text(f"  before  {_words(plan.before)}"), Text(f"  after   {_words(plan.after)}")]
    lines += [Text(f"  changed  {words}", "yellow") for words in plan.changes]
    if not plan.possible:
        return [*lines, Text(f"  No plan was found: {plan.reason}.", "bold red")]
    return lines


def _words(outcome: Outcome) -> str:
    power = outcome.power
    feeds = f"{len(power.feed)} feed{'s' if len(power.feed) != 1 else ''}"
    wires = [f"{feeds} {_gauges(power.feed)}"]
    if power.bus:
        wires.append(f"bus {_gauges(power.bus)}")
    return (
        f"{outcome.lowest_v:.2f} V at LED {outcome.led_on_line} of line {outcome.line};"
        f" {', '.join(wires)}; {sum(outcome.supply_a):.1f} A"
    )


def _gauges(wires: Any) -> str:
    return " and ".join(sorted({gauge_words(wire.gauge) for wire in wires}))


def plan_toml(plan: Plan) -> str:
    """A whole [power] to replace the file's: the plan, and everything else from the file."""
    power = plan.after.power
    rest = power.model_dump(
        exclude_unset=True, exclude_none=True, exclude={"supply", "bus", "feed"}
    )
    lists = {key: power_entries(power, key) for key in ("supply", "bus", "feed")}
    return table_text(
        "power", {**rest, **{key: entries for key, entries in lists.items() if entries}}
    )


def plan_repeats(plan: Plan) -> list[str]:
    """The supplies, buses and feeds of `plan_toml` for reading: the same ones in one line."""
    power = plan.after.power
    said: dict[str, int] = {}
    for key in ("supply", "bus"):
        for entry in power_entries(power, key):
            words = f"{key} {toml_value(_without(entry, 'supply', 'name'))}"
            said[words] = said.get(words, 0) + 1
    lines: dict[int, dict[str, list[int]]] = {}  # of each line, the LEDs of each kind of feed
    for feed, entry in zip(power.feed, power_entries(power, "feed"), strict=True):
        kind = toml_value(_without(entry, "line", "led", "supply"))
        lines.setdefault(feed.line, {}).setdefault(kind, []).append(feed.led)
    alike: dict[str, list[int]] = {}
    for line, kinds in lines.items():
        at = (f"{kind} at {counted('LED', leds)}" for kind, leds in kinds.items())
        alike.setdefault(joined(list(at)), []).append(line)
    feeds = (f"{counted('line', numbers)}: feed {words}" for words, numbers in alike.items())
    return [*(f"{count} × {words}" for words, count in said.items()), *feeds]


def _without(entry: dict[str, Any], *keys: str) -> dict[str, Any]:
    return {key: value for key, value in entry.items() if key not in keys}


def planned_file(display: Display, plan: Plan, target: Path) -> str:
    """The display file with the plan, otherwise unchanged; it is loaded and solved.

    Raises DisplayFileError, or WriteError if the new file would not find its map.
    """
    assert display.path is not None  # the command line loads displays from files
    text = with_power(display_text(display.path), plan.after.power, display.path)
    volts = promised_v(display_at(text, target, display.path), plan.level)
    if volts < plan.least_v:
        raise OutOfRangeError(
            f"the plan reaches {volts:.3f} V, not the promised {plan.least_v:g} V; it is not"
            " written",
            place=target,
            fix="report the display file to foreglow's maintainers.",
        )
    return text


def plan_json(plan: Plan) -> dict[str, Any]:
    """The whole plan as plain data."""

    def outcome(o: Outcome) -> dict[str, Any]:
        return {
            "lowest_v": o.lowest_v,
            "line": o.line,
            "led": o.led_on_line,
            "supply_a": list(o.supply_a),
            "wires_carry": o.carries,
            "power": o.power.model_dump(exclude_none=True),
        }

    return {
        "least_v": plan.least_v,
        "level": plan.level,
        "possible": plan.possible,
        "reason": plan.reason,
        "changes": list(plan.changes),
        "before": outcome(plan.before),
        "after": outcome(plan.after),
        "caution": plan.caution,
    }
