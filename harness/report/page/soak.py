"""The page of `foreglow soak`."""

from __future__ import annotations

from collections.abc import Sequence

from emulator.description.display import Display
from harness.flash.judge import CAUTION
from harness.report.page.page import (
    Chart,
    Found,
    Page,
    Section,
    Series,
    wall_layout,
)
from harness.report.page.records import file_of, record_of
from harness.report.page.tables import page_table
from harness.report.soak.terminal import faults_table, figures_table
from harness.result.finding import Finding
from harness.result.result import verdict_of
from harness.result.words import many
from harness.soak.soak import Soaked
from harness.soak.verdict import clock_face

_HOUR_S = 3600


def soak_page(display: Display, soaked: Soaked, findings: Sequence[Finding]) -> Page:
    """The figures of the show, each injected fault, and the current over time."""
    tables = [page_table("The show", figures_table(soaked))]
    if soaked.outcomes:
        tables.append(page_table("Faults that were put in", faults_table(soaked.outcomes)))
    return Page(
        kind="soak",
        title=f"{display.name}: {soaked.scene}",
        verdict=verdict_of(findings),
        sentence=f"{many(len(findings), 'finding')}." if findings else "The show went on.",
        facts=f"{clock_face(soaked.seconds)} of simulated time, {soaked.frames} frames at"
        f" {soaked.had:g} frames/s; {display.in_words}",
        walls=[wall_layout(display)],
        found=[Found(one, one.leds) for one in findings],
        sections=[
            Section("Current over time", charts=[_current(soaked)]),
            Section("Figures", tables),
        ],
        caution=CAUTION,
        record=record_of(display),
        file=file_of(display),
    )


def _current(soaked: Soaked) -> Chart:
    begins_s, mean_a, most_a = soaked.curve
    long = soaked.seconds >= _HOUR_S
    unit_s, unit = (_HOUR_S, "hours of the show") if long else (1, "seconds of the show")
    marks = [(one.at_s / unit_s, one.name) for one in soaked.outcomes if one.at_s <= soaked.seconds]
    series = [
        Series("most", begins_s / unit_s, most_a, step=True),
        Series("mean", begins_s / unit_s, mean_a, step=True),
    ]
    limits = [] if soaked.limit_a is None else [(soaked.limit_a, f"limit {soaked.limit_a:g} A")]
    return Chart("Current of all supplies", unit, "A", series, limits, marks)
