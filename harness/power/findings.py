"""What is wrong with the power of a display, as findings."""

from __future__ import annotations

import math
from collections.abc import Iterator

from emulator.description.display import Display
from emulator.description.feeding import SUPPLY_LOAD
from emulator.power.changes import with_its_like
from emulator.power.wire import CAUTION
from emulator.signal.disturbed import LOGIC_VOLTS
from harness.power.assessment import Assessment, SupplyUse, WireUse
from harness.result.finding import Finding, Severity
from harness.result.words import joined

# WS2812B datasheet, Worldsemi: VIH = 0.7 VDD. Also used for chips without a figure of their own.
LOGIC_HIGH_SHARE = 0.7

LONG_DATA_WIRE_M = 1.0  # common practice, no source: from half a metre to a metre

# Limits for the loss of a channel's current: nobody sees less, everybody sees more. Ours.
LOST_WARNING, LOST_FAULT = 0.10, 0.30


def power_findings(display: Display, assessment: Assessment) -> tuple[Finding, ...]:
    """Everything wrong with supplies, voltages, wires and the data's levels; worst first."""
    found = [
        *_supplies(assessment),
        *_reddening(display, assessment),
        *_wires(display, assessment),
        *_data(display, assessment),
        *_solver(assessment),
    ]
    order = ("fault", "warning", "note")
    return tuple(sorted(found, key=lambda f: order.index(f.severity)))


def _finding(
    what: str,
    where: str,
    evidence: str,
    remedy: str,
    severity: Severity = "fault",
    leds: tuple[int, ...] = (),
) -> Finding:
    return Finding("power", what, where, evidence, remedy, severity, leds)


def _supplies(a: Assessment) -> Iterator[Finding]:
    rated = sum(s.rated_a for s in a.supplies)
    if a.limit_a is not None and min(a.limit_a, a.white.asked_a) > rated:
        yield _finding(
            f"the limit of {a.limit_a:g} A is above the {rated:g} A rating of the supplies",
            "limit_a",
            f"full white asks for {a.white.asked_a:.2f} A",
            f"set limit_a to at most {SUPPLY_LOAD * rated:g}, or get larger supplies. {CAUTION}",
        )
        return
    alone = len(a.supplies) == 1
    for called, s, numbers in a.supply_rows:
        verb = "is" if len(numbers) == 1 else "are"
        larger = math.ceil(s.heaviest_a / SUPPLY_LOAD)
        keep = (
            f"keep the current under {SUPPLY_LOAD * s.rated_a:g} A (limit_a; your code must do it),"
            if alone
            else "move feeds to another supply,"
        )
        remedy = f"{keep} or get a supply of {larger} A. {CAUTION}"
        picture = "full white" if a.limit_a is None else "the heaviest picture the limit allows"
        seen = f"{s.heaviest_a:.2f} A of {s.rated_a:g} A, {s.share:.0%} of the rating"
        if s.share > 1:
            what = f"{called} {verb} overloaded at {picture}: {_overload(s, a)}"
            yield _finding(what, s.name, seen, remedy)
        elif s.share > SUPPLY_LOAD + 1e-9:
            yield _finding(
                f"{called} {verb} loaded above {SUPPLY_LOAD:.0%} at {picture}",
                s.name,
                f"{seen}; {SUPPLY_LOAD:.0%} is common practice (no source)",
                remedy,
                "warning",
            )


def _overload(supply: SupplyUse, a: Assessment) -> str:
    if supply.drawn_a <= supply.rated_a:
        return f"it gives {supply.drawn_a:.2f} A only because thin wires starve the LEDs"
    if supply.overload == "trip":
        return "it switches off"
    return f"its voltage falls; an LED gets as little as {a.lowest.volts:.2f} V"


def _reddening(display: Display, a: Assessment) -> Iterator[Finding]:
    """The effect of the wires alone: an overloaded supply has its own finding."""
    low = a.lowest_held
    lost = 1 - min(low.delivered)
    if lost <= LOST_WARNING:
        return
    shares = ", ".join(f"{c} {d:.0%}" for c, d in zip("RGBW", low.delivered, strict=False))
    yield _finding(
        f"LED {low.led} of line {low.line} gets {low.volts:.2f} V: channels lose up to {lost:.0%}"
        f" of their light, and white looks like {low.colour}",
        f"line {low.line}, LED {low.led} ({low.cell})",
        f"each channel has {shares} of its current; all have 100% from {a.needed_v:.2f} V on",
        "feed the strip in more places, or use thicker wires: `foreglow power` suggests which,"
        " and `foreglow power --plan` proposes feeds and gauges.",
        "fault" if lost > LOST_FAULT else "warning",
        (display.wiring.line_starts[low.line] + low.led,),
    )


def _wires(display: Display, a: Assessment) -> Iterator[Finding]:
    """Wires too thin; only a note for wires that the file leaves out, as they are assumed."""
    power = display.power
    assumed = {"bus": not power.bus, "feed": not power.feed}
    for wire in a.wire_rows:
        kind = "bus" if wire.kind == "supply to bus" else wire.kind
        called = with_its_like(wire.name, wire.count)
        if assumed.get(kind, False):
            if too_thin(wire):
                yield _finding(
                    f"{called} is assumed and would be too thin: name yours in [power]",
                    wire.name,
                    f"{wire.current_a:.2f} A through the assumed {wire.gauge}",
                    f"describe your {kind} in [power], or let --plan propose it. {CAUTION}",
                    "note",
                )
            continue
        most = "none in the table" if wire.ampacity_a is None else f"{wire.ampacity_a:g} A"
        seen = f"{wire.current_a:.2f} A; guidance for {wire.gauge}: {most} ({a.ampacity_source})"
        remedy = f"use a thicker wire, or share its current among more wires. {CAUTION}"
        if wire.over:
            yield _finding(
                f"{called} carries more than the guidance for {wire.gauge}",
                wire.name, seen, remedy,
            )  # fmt: skip
        elif wire.unprotected:
            yield _finding(
                f"no common fuse carries the current of {called}, protects its {wire.gauge} and is"
                f" blown by the {wire.supply_a:g} A of its supply",
                wire.name, seen, remedy, "warning",
            )  # fmt: skip


def _data(display: Display, a: Assessment) -> Iterator[Finding]:
    controller = display.controller
    alike: dict[tuple[str, str, str], list[int]] = {}  # what, evidence and fix, and the lines
    for line, volts in enumerate(a.first_led_v):
        others = min(round(volts, 1), LOGIC_VOLTS)  # a supply is off by a tenth of a volt anyway
        vdd = min(controller.first_led_volts or others, others)
        needed = LOGIC_HIGH_SHARE * vdd
        if vdd < LOGIC_HIGH_SHARE * others - 1e-9:
            words = (
                f"the first LED at {vdd:.1f} V passes the data on too low for a chip at"
                f" {others:.1f} V: it needs {LOGIC_HIGH_SHARE * others:.2f} V",
                "a 1 must be at least 0.7 VDD (WS2812B datasheet, VIH; taken for all chips); a chip"
                " passes data on at its own supply at most (common practice, no source)",
                f"run the first LED at {LOGIC_HIGH_SHARE * others:.1f} V or more.",
            )
            alike.setdefault(words, []).append(line)
        if controller.logic_volts < needed - 1e-9:
            highest = controller.logic_volts / LOGIC_HIGH_SHARE
            words = (
                f"{controller.logic_volts:g} V logic is too low for a chip at {vdd:.1f} V:"
                f" it needs {needed:.2f} V",
                "a 1 must be at least 0.7 VDD (WS2812B datasheet, VIH; taken for all chips)",
                "put a level shifter to 5 V at the controller, or run the first LED (or a single"
                f" one that only passes the data on: hidden_first, first_led_volts) at no more than"
                f" {highest:.1f} V.",
            )
            alike.setdefault(words, []).append(line)
    for (what, evidence, remedy), found in alike.items():
        where = joined([display.wiring.line_names[line] for line in found])
        leds = tuple(display.wiring.line_starts[line] for line in found)
        yield _finding(what, where, evidence, remedy, leds=leds)
    lines = range(len(display.wiring.line_names))
    data_wire_m = max(display.geometry.data_in(line)[1] for line in lines) / 1000
    if data_wire_m > LONG_DATA_WIRE_M:
        yield _finding(
            f"the first LED is {data_wire_m:g} m of data wire away from the controller",
            "data wire",
            f"above {LONG_DATA_WIRE_M:g} m the edges suffer (common practice, no source)",
            "move the controller to the first LED, twist the data wire with ground and put a"
            " resistor of a few hundred ohms at the controller, or send it differentially.",
            "warning",
        )
    if not controller.common_ground:
        yield _finding(
            "controller and LEDs have no common ground: the data has no reference",
            "controller",
            "common_ground = false in [controller]",
            "join the controller's ground and the supply's, beside the data wire.",
        )


def _solver(a: Assessment) -> Iterator[Finding]:
    if not a.solver.converged:
        yield _finding(
            "the voltages were not found to the tolerance: do not rely on them",
            "the whole display",
            f"{a.solver.residual_a:.2g} A are unaccounted for after {a.solver.steps} steps",
            "report the display file to foreglow's maintainers.",
        )


def too_thin(wire: WireUse) -> bool:
    """Whether a wire is over its guidance, or no common fuse fits it."""
    return wire.over or wire.unprotected
