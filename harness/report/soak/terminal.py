"""The report of `foreglow soak`: the figures of the show, each fault, and the verdict."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from emulator.description.display import Display
from harness.flash.words import described
from harness.report.findings import print_findings
from harness.result.finding import Finding
from harness.soak.injection import Outcome
from harness.soak.memory import MOST_GROWTH
from harness.soak.soak import Soaked
from harness.soak.verdict import clock_face, dark_ms, late_alone, unsent_alone

_MIB = 1 << 20


def soak_json(display: Display, soaked: Soaked, findings: Sequence[Finding]) -> dict[str, Any]:
    """The soak as plain data, without the curve; `passed` is the verdict."""
    data = asdict(soaked)
    del data["curve"]
    data["most_growth_bytes"] = MOST_GROWTH
    return {
        "display": display.name,
        "passed": not findings,
        **data,
        "findings": [finding.to_json() for finding in findings],
    }


def print_soak(
    display: Display, soaked: Soaked, findings: Sequence[Finding], console: Console
) -> None:
    """Print figures, faults, findings and verdict."""
    console.print(
        Text.assemble(
            (display.name, "bold"),
            f", {soaked.scene}: {clock_face(soaked.seconds)} of simulated"
            f" time, {soaked.frames} frames at {soaked.had:g} /s",
        ),
        highlight=False,
    )
    console.print(figures_table(soaked))
    if soaked.outcomes:
        console.print(faults_table(soaked.outcomes))
    print_findings(findings, console)
    if findings:
        count = f"{len(findings)} finding{'s' * (len(findings) != 1)}."
        console.print(Text(count, "bold red"))
    else:
        untried = [one.name for one in soaked.outcomes if not one.tried]
        console.print(Text("The show went on.", "green"))
        if untried:
            console.print(Text(f"Not tried: {', '.join(untried)}.", "yellow"))


def figures_table(soaked: Soaked) -> Table:
    """Each figure of the show, and its value."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_header=False)
    table.add_column()
    table.add_column()
    for name, words in _figures(soaked):
        table.add_row(name, words)
    return table


def _figures(s: Soaked) -> list[tuple[str, str]]:
    dark = dark_ms(s)
    limit = "no limit" if s.limit_a is None else f"{s.over_limit} over the limit of {s.limit_a:g} A"
    if s.early_bytes:
        growth = (s.late_bytes - s.early_bytes) / _MIB
        memory = (
            f"{s.early_bytes / _MIB:.1f} MiB at first, {growth:+.1f} MiB at the end"
            f" (at most {MOST_GROWTH / _MIB:+g})"
        )
    else:
        memory = "less than a minute: not judged"
    return [
        ("drift of the last frame", f"{s.drift_ns} ns"),
        ("late pictures", f"{late_alone(s)}, and {s.late - late_alone(s)} by injected faults"),
        ("to draw a picture", f"{1e3 * s.slowest_s:.1f} ms of CPU at most, {s.slow} over a period"),
        ("frames left out", f"{unsent_alone(s)}, and {s.unsent - unsent_alone(s)} by faults"),
        ("too early, too long", f"{s.early}, {s.over_period} frames"),
        ("current", f"{s.mean_a:.2f} A mean, {s.most_a:.2f} A most, {limit}"),
        ("most current", f"{clock_face(s.most_at_s)} into the show"),
        ("lowest voltage", "not solved" if s.lowest_v is None else f"{s.lowest_v:.2f} V"),
        ("memory", memory),
        ("flashes", "; ".join(described(kind) for kind in s.flashes) or "no light"),
        ("dark after the end", "never" if dark is None else f"within {dark:.2f} ms"),
    ]


def faults_table(outcomes: Sequence[Outcome]) -> Table:
    """Each injected fault, and what the wall showed."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for title in ("fault", "at", "meanwhile on the wall", "late", "left out", "scene back"):
        table.add_column(title, justify="right" if title in ("at", "late", "left out") else "left")
    for one in outcomes:
        shown = ", ".join(f"{name} {seconds:.1f} s" for name, seconds in one.shown.items())
        wall = "; ".join(filter(None, [shown or "the scene", one.told]))
        back = "not back" if one.back_s is None else f"after {one.back_s:.1f} s"
        style = "bold red" if one.findings else "green"
        if not (one.tried or one.findings):
            back, style = "not tried", "yellow"
        table.add_row(
            one.name,
            clock_face(one.at_s),
            wall,
            str(one.late),
            str(one.unsent),
            Text(back, style),
        )
    return table
