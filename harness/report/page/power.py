"""The page of `foreglow power`."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from emulator.description.display import Display
from emulator.power.plan import Plan
from harness.power import Assessment, Course, Suggestion
from harness.report.page.charts import current_charts, volts_chart
from harness.report.page.page import Found, Page, Section, Table, wall_layout
from harness.report.page.records import file_of, record_of
from harness.report.page.tables import page_table
from harness.report.power.plan import plan_lines, plan_load, plan_toml
from harness.report.power.terminal import power_tables
from harness.result.finding import Finding
from harness.result.result import verdict_of
from harness.result.words import many


def power_page(
    display: Display,
    a: Assessment,
    findings: Sequence[Finding],
    suggestions: Sequence[Suggestion],
    courses: Sequence[Course],
    plan: Plan | None,
) -> Page:
    """Currents, supplies, voltages, wires, heat, what would help, and the plan."""
    tables = [page_table(title, table, note) for title, table, note in power_tables(display, a, ())]
    charts = [volts_chart(display, a), *current_charts(a, courses)]
    sections = [Section("Current and volts", charts=charts), Section("Figures", tables)]
    if suggestions:
        rows = [[str(one)] for one in suggestions]
        about = "Each was tried by solving the changed display."
        sections.insert(
            0, Section("What would help", [Table("Suggestions", ("",), rows)], note=about)
        )
    if plan is not None:
        rows = [[line.plain if hasattr(line, "plain") else str(line)] for line in plan_lines(plan)]
        title = f"every LED at {plan.least_v:g} V or more, {plan_load(plan)}"
        toml = plan_toml(plan) if plan.possible else ""
        sections.append(Section("Plan", [Table(title, ("",), rows)], text=toml))
    verdict = verdict_of(findings)
    if plan is not None and not plan.possible:
        verdict = "fail"
    wrong = sum(one.severity != "note" for one in findings)
    low = a.lowest
    lowest = f"The lowest LED gets {low.volts:.2f} V (line {low.line}, LED {low.led})."
    found = f"{many(wrong, 'finding')}." if wrong else "Supplies and wires suffice."
    return Page(
        kind="power",
        title=f"{display.name}: power",
        verdict=verdict,
        sentence=f"{found} {lowest}",
        facts=display.in_words,
        walls=[wall_layout(display)],
        found=[Found(one, one.leds) for one in findings],
        sections=sections,
        caution=a.caution,
        volts=np.concatenate(a.run_volts),
        record=record_of(display),
        file=file_of(display),
    )
