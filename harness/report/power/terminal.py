"""The report of `foreglow power` in the terminal."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from emulator.description.display import Display
from emulator.description.feeding import SUPPLY_LOAD
from emulator.power.plan import Plan
from emulator.power.wire import BLOWS_AT, FUSE_MARGIN
from harness.power import Assessment, Course, Suggestion
from harness.power.assessment import DAYS_A_YEAR
from harness.power.heat import ASSUMPTION
from harness.report.findings import print_findings
from harness.report.power.plan import plan_lines, plan_load, plan_repeats, plan_toml
from harness.result.finding import Finding

_MOST_LINES, _MOST_RUNS, _MOST_SUPPLIES = 16, 10, 16
_MOST_PLAN = 40  # lines
_BAR = 24
_ROLE_WORDS = {
    "supply to bus": "supply to bus", "bus": "bus, feed to feed", "feed": "feed",
    "jumper": "jumper", "rail": "strip",
}  # fmt: skip


def print_power(
    display: Display,
    assessment: Assessment,
    findings: Sequence[Finding],
    suggestions: Sequence[Suggestion],
    courses: Sequence[Course],
    plan: Plan | None,
    console: Console,
) -> None:
    """Print all sections; `courses`: of the scenes that the user asked to follow, often none."""
    a = assessment
    limit = "no limit" if a.limit_a is None else f"limit {a.limit_a:g} A"
    head = f"  {display.leds_in_words}, {limit}"
    console.print(Text.assemble((display.name, "bold"), head))
    if not a.stated:
        console.print(Text("No [power] section: foreglow assumes supply, feeds and bus.", "dim"))
    _heading(console, "Current", "by the catalogue's figures of the chip, in amperes")
    _print_table(_lines(display, a), console)
    _print_elided(_MOST_LINES, len(a.heaviest.line_a), "lines, most current first", console)
    console.print()
    _print_table(_runs(display, a), console)
    _print_elided(_MOST_RUNS, len(a.run_volts), "runs, lowest voltage first", console)
    _heading(console, "Supplies", f"┊ marks {SUPPLY_LOAD:.0%}: common practice, no source")
    _print_table(_supplies(a), console)
    _print_elided(_MOST_SUPPLIES, len(a.supply_rows), "kinds of supply, fullest first", console)
    limited = a.heaviest is not a.white
    picture = "the heaviest picture the limit allows" if limited else "full white"
    _heading(console, "Lowest voltage", f"with {picture}")
    for line in _lowest(a):
        console.print(line)
    _heading(console, "Wires", "length and most A of one; drop of the pair; W of all together")
    _print_table(_wires(a), console)
    for words in _fuse_words(a):
        console.print(Text(f"  {words}", "dim"))
    _heading(console, "Energy and heat", "from the supplies; their own losses come on top")
    for text in _energy(a):
        console.print(f"  {text}", highlight=False)
    _print_table(_heat(a), console)
    console.print(Text(f"  {ASSUMPTION}", "dim"))
    for course in courses:
        _heading(console, "Over time", f"{course.name}, {course.seconds:g} s")
        _print_table(_course(course), console)
        console.print(f"  {_course_words(course)}", highlight=False)
    if plan is not None:
        _heading(console, "Plan", f"every LED at {plan.least_v:g} V or more, {plan_load(plan)}")
        for line in plan_lines(plan):
            console.print(line, highlight=False)
        if plan.possible:
            _print_plan(plan, console)
    if suggestions:
        _heading(console, "What would help", "each tried by solving the changed display")
        for suggestion in suggestions:
            console.print(f"  → {suggestion}", highlight=False)
    if findings:
        _heading(console, "Findings")
        print_findings(findings, console)
    solver = a.solver
    state = "converged" if solver.converged else "did not converge"
    console.print(
        Text(
            f"\nThe solver {state}: at most {solver.residual_a:.1g} A unaccounted for after"
            f" {solver.steps} step{'s' if solver.steps != 1 else ''}.",
            "dim",
        )
    )
    console.print(Text(a.caution, "yellow"))


def _print_plan(plan: Plan, console: Console) -> None:
    """The plan for the display file; of a long one, what repeats."""
    toml = plan_toml(plan)
    count = toml.count("\n")
    if count <= _MOST_PLAN:
        console.print(Text("  For the display file:", "dim"))
        # Do not wrap these lines: they are for copying.
        console.print(Text(toml, "cyan"), soft_wrap=True, end="")
        return
    repeats = plan_repeats(plan)
    for words in repeats[:_MOST_PLAN]:
        console.print(Text(f"  {words}", "cyan"))
    _print_elided(_MOST_PLAN, len(repeats), "kinds", console)
    about = f"{count} lines for the display file: --write new.toml writes it with them"
    console.print(Text(f"  {about}", "dim"))


def power_tables(
    display: Display, a: Assessment, courses: Sequence[Course]
) -> list[tuple[str, Table, str]]:
    """(title, table, note) of each table that `print_power` prints."""
    energy = "; ".join(_energy(a)).rstrip(":")
    return [
        ("Current by line, A", _lines(display, a), "By the catalogue's figures of the chip."),
        ("Current by run, A, the lowest voltage first", _runs(display, a), ""),
        ("Supplies", _supplies(a), "; ".join(line.plain.strip() for line in _lowest(a))),
        ("Wires: length and most A of one, W of all together", _wires(a), " ".join(_fuse_words(a))),
        ("Heat, warmer than the room by", _heat(a), f"{energy}. {ASSUMPTION}"),
        *((f"Over time: {one.name}", _course(one), _course_words(one)) for one in courses),
    ]


def _heading(console: Console, name: str, about: str = "") -> None:
    console.print(Text.assemble("\n", (name, "bold"), (f"  {about}" if about else "", "dim")))


def _table(*columns: str, left: Sequence[str] = ()) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    for name in columns:
        justify: Literal["left", "right"] = "left" if name in left else "right"
        table.add_column(name, justify=justify, no_wrap=name not in left)
    return table


def _print_table(table: Table, console: Console) -> None:
    console.print(Padding(table, (0, 0, 0, 2), expand=False))


def _lines(display: Display, a: Assessment) -> Table:
    table = _table("", *(load.name for load in a.loads), left=[""])
    names = display.wiring.line_names
    several = list(range(len(names))) if len(names) > 1 else []
    if len(several) > _MOST_LINES:
        most = sorted(several, key=lambda number: -a.heaviest.line_a[number])
        several = most[:_MOST_LINES]
    for number in several:
        table.add_row(names[number], *(f"{load.line_a[number]:.2f}" for load in a.loads))
    table.add_row("all", *(f"{load.asked_a:.2f}" for load in a.loads), style="bold")
    if any(load.drawn_a < 0.99 * load.asked_a for load in a.loads):
        table.add_row("the wires let through", *(f"{load.drawn_a:.2f}" for load in a.loads))
    return table


def _runs(display: Display, a: Assessment) -> Table:
    loads = (a.typical, a.white) if a.typical else (a.white,)
    table = _table("run", "line", "LEDs", *(load.name for load in loads), "lowest V", left=["LEDs"])
    runs = display.wiring.runs
    lowest = [float(volts.min()) for volts in a.run_volts]
    order = sorted(range(len(runs)), key=lambda n: lowest[n])
    for n in order[:_MOST_RUNS]:
        run = runs[n]
        amps = (f"{load.run_a[n]:.2f}" for load in loads)
        leds = f"{run.first}–{run.last}"
        table.add_row(str(n), str(run.line), leds, *amps, f"{lowest[n]:.2f}")
    return table


def _print_elided(shown: int, count: int, words: str, console: Console) -> None:
    if count > shown:
        console.print(Text(f"  {shown} of {count} {words}; all in --json", "dim"))


def _supplies(a: Assessment) -> Table:
    table = _table("", "rated", "at worst", "load", " ", left=["", " "])
    rows = a.supply_rows
    if len(rows) > _MOST_SUPPLIES:
        rows = sorted(rows, key=lambda row: -row[1].share)[:_MOST_SUPPLIES]
    for called, supply, _ in rows:
        style = "red" if supply.share > 1 else "yellow" if supply.share > SUPPLY_LOAD else "green"
        filled = round(_BAR * min(supply.share, 1))
        tick = round(_BAR * SUPPLY_LOAD)
        bar = Text()
        for place in range(_BAR):
            mark = "┊" if place == tick else "█" if place < filled else "░"
            bar.append(mark, style if mark == "█" else "dim")
        table.add_row(
            Text(called),
            f"{supply.volts:g} V {supply.rated_a:g} A",
            f"{supply.heaviest_a:.2f} A",
            Text(f"{supply.share:.0%}", style),
            bar,
        )
    return table


def _lowest(a: Assessment) -> list[Text]:
    low, held = a.lowest, a.lowest_held
    shares = ", ".join(f"{c} {d:.0%}" for c, d in zip("RGBW", low.delivered, strict=False))
    lines = [
        Text.assemble(
            "  ",
            (f"{low.volts:.2f} V", "bold"),
            f" at LED {low.led} of line {low.line} (run {low.run}, {low.cell})",
        ),
        Text.assemble(
            f"  gets {shares} of its current; white looks ",
            ("██", low.colour),
            f" {low.colour}",
        ),
        Text(f"  every channel gets its full current from {a.needed_v:.2f} V on", "dim"),
    ]
    if held.volts > low.volts + 0.005:
        lines.append(
            Text(f"  {held.volts:.2f} V if the supplies held their voltage: they are overloaded")
        )
    return lines


def _wires(a: Assessment) -> Table:
    table = _table("", "use", "gauge", "m", "A", "drop V", "W", "guide", "fuse", left=["use"])
    for wire in a.wire_rows:
        guide = "–" if wire.ampacity_a is None else f"{wire.ampacity_a:g}"
        fuse = f"{wire.fuse_a:g}" if wire.fuse_a else ""
        if wire.fuse_a is None and wire.bears_supply:
            fuse = f"carries {wire.supply_a:g}"
        table.add_row(
            f"{wire.count} ×",
            _ROLE_WORDS[wire.kind],
            wire.gauge,
            f"{wire.length_m:.2f}",
            Text(f"{wire.current_a:.2f}", "red" if wire.over else ""),
            f"{wire.drop_v:.3f}",
            f"{wire.loss_w:.2f}",
            guide,
            Text("none" if wire.unprotected else fuse, "yellow" if wire.unprotected else ""),
        )
    return table


def _fuse_words(a: Assessment) -> list[str]:
    """What the column of fuses means."""
    words = [
        "A fuse is named only if its wire can carry its current and its supply can blow it. It"
        f" blows at {BLOWS_AT:g} times its rating; a supply is assumed to deliver at most its rated"
        " current."
    ]
    if any(w.bears_supply and w.fuse_a is None for w in a.wire_rows):
        words.append(
            f"'carries': there is no such fuse, but the wire carries {FUSE_MARGIN:g} times the"
            " current that its supply delivers."
        )
    if any(w.unprotected for w in a.wire_rows):
        words.append("'none': no common fuse fits; see the findings.")
    return words


def _energy(a: Assessment) -> list[str]:
    lines = []
    if a.energy and a.typical:
        e = a.energy
        of = a.typical_of[0]
        if len(a.typical_of) > 1:
            of = f"typical (mean of {', '.join(a.typical_of)})"
        lines += [
            f"{of}: {e.typical_w:.1f} W",
            f"{e.hours_a_day:g} h a day: {e.kwh_a_day:.3f} kWh a day, {e.cost_a_day:.2f} a day,"
            f" {e.kwh_a_day * DAYS_A_YEAR:.0f} kWh and {e.cost_a_year:.2f} a year at"
            f" {e.price_per_kwh:g} a kWh",
        ]
    return [*lines, f"warmer than the room by ({a.wall_m2:.2f} m² of wall):"]


def _heat(a: Assessment) -> Table:
    """Heat for each area, and how much warmer than the room covers and board get."""
    table = _table(
        "", "W/m²", "covers", "board", "covers, open back", "board, open back", left=[""]
    )
    for load in a.loads:
        k = a.rise(load)
        table.add_row(
            load.name, f"{a.heat_w_m2(load):.0f}", f"{k.cover_closed_k:.0f} K",
            f"{k.board_closed_k:.0f} K", f"{k.cover_open_k:.0f} K", f"{k.board_open_k:.0f} K",
        )  # fmt: skip
    return table


def _course(course: Course) -> Table:
    table = _table("", "peak A", "mean A", left=[""])
    rows = [("asked", course.asked_a), ("drawn from the supplies", course.drawn_a)]
    if course.limit_a is not None:
        rows.insert(1, ("sent, under the limit", course.sent_a))
    for name, amps in rows:
        table.add_row(name, f"{amps.max():.2f}", f"{amps.mean():.2f}")
    return table


def _course_words(course: Course) -> str:
    words = [f"lowest voltage {course.lowest_v.min():.2f} V"]
    if course.above_limit is not None:
        words.insert(0, f"above the limit {course.above_limit:.1%} of the time")
    if course.off.any():
        words.append(f"a supply switched off {course.off.mean():.1%} of the time")
    return "; ".join(words)
