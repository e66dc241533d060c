"""The page of `foreglow check`."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from emulator.arrays import Light
from emulator.description.display import Display
from emulator.power.wire import CAUTION
from harness.checks.flash import calm
from harness.light.assessment import assess_light
from harness.power import assess, follow_scenes
from harness.report.check.verdict import WORD, closing
from harness.report.light.terminal import light_table
from harness.report.page.charts import current_charts, flash_charts, pace_chart, volts_chart
from harness.report.page.film import Film
from harness.report.page.films import films
from harness.report.page.page import MARKS, Found, Page, Section, Table, wall_layout
from harness.report.page.records import file_of, record_of
from harness.report.page.tables import page_table
from harness.result.finding import Finding
from harness.result.report import Report
from harness.subject.trial import Trial

_SHOWN = ("map", "colour", "levels", "patterns")  # checks of what pictures show


def check_page(report: Report, trial: Trial) -> Page:
    """The page of a check that has run. Sends every pattern again. Raises SubjectError."""
    display, took_ns = trial.display, tuple(trial.took_ns)
    made = films(trial)
    ran = {result.check for result in report.results}
    sections = [Section("Checks", [_checks(report)])]
    if "timing" in ran and took_ns:
        sections.append(
            Section("Timing", charts=[pace_chart(took_ns, display.controller.frame_rate)])
        )
    volts = None
    if "power" in ran:
        courses = follow_scenes(display)
        assessment = assess(display, courses)
        volts = np.concatenate(assessment.run_volts)
        charts = [volts_chart(display, assessment), *current_charts(assessment, courses)]
        about = "The demo scenes, a minute each, by the figures of the chip and the wires."
        sections.append(Section("Current and volts", charts=charts, note=about))
    if "light" in ran:
        table = page_table("Light", light_table(display, assess_light(display)))
        sections.append(Section("Light figures", [table]))
    if "flash" in ran:
        judged = calm(trial)
        about = f"Calm pictures through the code, seen from {judged.distance_m:g} m."
        sections.append(Section("Flash trace", charts=flash_charts(judged), note=about))
    return replace(_page(report, display, made), sections=sections, films=made, volts=volts)


def heard_page(report: Report, display: Display, shown: Light) -> Page:
    """The page of `foreglow check --listen`; shown: the last picture (rows, columns, 3)."""
    made = [Film.of_shown("last picture", "", shown, display.gap)]
    page = _page(report, display, made)
    return replace(page, sections=[Section("Checks", [_checks(report)])], films=made)


def _page(report: Report, display: Display, made: list[Film]) -> Page:
    return Page(
        kind="check",
        title=f"{report.display}: {report.subject}",
        verdict=report.verdict,
        sentence=closing(report, display).plain,
        facts=display.in_words,
        walls=[wall_layout(display)],
        found=[_found(display, one, made) for one in report.findings],
        caution=CAUTION if any(result.check == "power" for result in report.results) else "",
        record=record_of(display),
        file=file_of(display),
    )


def _found(display: Display, finding: Finding, made: list[Film]) -> Found:
    """A finding with its LEDs. If it names none, those that a pattern does not show as meant."""
    if finding.check not in _SHOWN:
        return Found(finding, finding.leds)
    cell = display.wiring.cell
    wrong = [film.wrong.reshape(len(film.steps), -1) for film in made]
    leds = finding.leds
    if not leds:
        cells = np.flatnonzero(np.any([steps.any(axis=0) for steps in wrong], axis=0))
        leds = tuple(np.flatnonzero(np.isin(cell, cells)).tolist())
    cells = cell[list(leds)]
    counts = [steps[:, cells[cells >= 0]].sum(axis=1) for steps in wrong]
    best = max(range(len(made)), key=lambda film: int(counts[film].max()))
    most = int(counts[best].argmax())
    return Found(finding, leds, (best, most) if counts[best][most] else None)


def _checks(report: Report) -> Table:
    rows = [
        (one.check, f"{MARKS[one.verdict]}\N{NO-BREAK SPACE}{WORD[one.verdict]}", one.summary)
        for one in report.results
    ]
    return Table("What was checked", ("check", "verdict", "what was seen"), rows)
