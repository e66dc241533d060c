"""The planner's proposal as text, as TOML for the display file, and as plain data."""

from __future__ import annotations

from typing import Any

from rich.text import Text

from emulator.power.plan import Outcome, Plan


def plan_load(plan: Plan) -> str:
    """What the plan is for, in words."""
    if plan.level is None:
        return "with the worst pictures your limit allows, or full white"
    return f"{plan.level:.0%} drive"


def plan_lines(plan: Plan) -> list[Text]:
    """Before and after, or why not."""
    lines = [Text(f"  before  {_words(plan.before)}"), Text(f"  after   {_words(plan.after)}")]
    if not plan.possible:
        return [*lines, Text(f"  It cannot be had: {plan.reason}.", "bold red")]
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
    words = {_gauge(*wire.gauge) for wire in wires}
    return " and ".join(sorted(words))


def _gauge(kind: str, number: float) -> str:
    return f"AWG {number:g}" if kind == "awg" else f"{number:g} mm²"


def plan_toml(plan: Plan) -> str:
    """The proposed supplies, buses and feeds as keys of [power]; what else it holds stays.

    Keys at their defaults are left out.
    """
    power = plan.after.power
    lines = ["[power]"]
    for key in ("supply", "bus", "feed"):
        sections = getattr(power, key)
        if sections:
            rows = [
                f"    {_table(s.model_dump(exclude_none=True, exclude_defaults=True))},"
                for s in sections
            ]
            lines += [f"{key} = [", *rows, "]"]
    return "\n".join(lines) + "\n"


def _table(values: dict[str, Any]) -> str:
    def value(v: Any) -> str:
        quoted = '"' + str(v).replace("\\", "\\\\").replace('"', '\\"') + '"'
        return quoted if isinstance(v, str) else f"{v:g}" if isinstance(v, float) else str(v)

    return "{ " + ", ".join(f"{k} = {value(v)}" for k, v in values.items()) + " }"


def plan_json(plan: Plan) -> dict[str, Any]:
    """The whole plan as plain data."""

    def outcome(o: Outcome) -> dict[str, Any]:
        return {
            "lowest_v": o.lowest_v,
            "line": o.line,
            "led": o.led_on_line,
            "supply_a": list(o.supply_a),
            "wires_carry": o.wires_carry,
            "power": o.power.model_dump(exclude_none=True),
        }

    return {
        "least_v": plan.least_v,
        "level": plan.level,
        "possible": plan.possible,
        "reason": plan.reason,
        "before": outcome(plan.before),
        "after": outcome(plan.after),
        "caution": plan.caution,
    }
