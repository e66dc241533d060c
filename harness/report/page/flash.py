"""The page of `foreglow flash`."""

from __future__ import annotations

from emulator.description.display import Display
from harness.flash.judge import CAUTION, Judgement
from harness.flash.result import flash_result
from harness.report.flash.terminal import flash_sentence, flash_table
from harness.report.page.charts import flash_charts
from harness.report.page.page import Found, Page, Section, wall_layout
from harness.report.page.records import file_of, record_of
from harness.report.page.tables import page_table

_REMEDY = "fade instead of switching, change a smaller area, or change it less often."


def flash_page(name: str, display: Display, judged: Judgement) -> Page:
    """The judgement of a scene or recording, with the trace of its worst place."""
    general, red = judged.general, judged.red
    result = flash_result(general, red, judged.distance_m, f"in {name}", _REMEDY)
    return Page(
        kind="flash",
        title=f"{display.name}: {name}",
        verdict="pass" if judged.below else "fail",
        sentence=flash_sentence(judged),
        facts=f"{len(judged.times_ns)} frames, seen from {judged.distance_m:g} m;"
        f" {display.in_words}",
        walls=[wall_layout(display)],
        found=[Found(one, one.leds) for one in result.findings],
        sections=[
            Section("Flashes", [page_table("By WCAG 2.2, SC 2.3.1", flash_table(judged))]),
            Section("Flash trace of the worst place", charts=flash_charts(judged)),
        ],
        caution=CAUTION,
        record=record_of(display),
        file=file_of(display),
    )
