"""Charts of several pages: current and volts over time, flashes, the time of a picture."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from emulator.clock import SECOND_NS
from emulator.description.display import Display
from harness.flash.judge import MOST_FLASHES, Judgement
from harness.power import Assessment, Course
from harness.report.page.page import Chart, Series

_MOST_LINES = 12  # drawn; of more, those with the lowest voltage


def pace_chart(took_ns: Sequence[int], frame_rate: float) -> Chart:
    """How long the code took for each picture, in ms."""
    took_ms = np.asarray(took_ns, dtype=np.float64) / 1e6
    period = f"a frame at {frame_rate:g} frames/s: {1e3 / frame_rate:.3g} ms"
    return Chart(
        "Time that the code took for each picture",
        "picture, from 0",
        "ms",
        [Series("time", np.arange(len(took_ms), dtype=np.float64), took_ms)],
        limits=[(1e3 / frame_rate, period)],
    )


def current_charts(assessment: Assessment, courses: Sequence[Course]) -> list[Chart]:
    """Current of all supplies, as asked for and sent, and the lowest voltage of an LED."""
    if not courses:
        return []
    asked, volts = [], []
    for course in courses:
        seconds = course.times_ns / SECOND_NS
        asked.append(Series(course.name, seconds, course.asked_a, step=True))
        if course.limit_a is not None and course.above_limit:
            name = f"{course.name}, under the limit"
            asked.append(Series(name, seconds, course.sent_a, step=True))
        volts.append(Series(course.name, seconds, course.lowest_v, step=True))
    rated = sum(supply.rated_a for supply in assessment.supplies)
    limits = [(rated, f"supplies rated {rated:g} A")]
    if assessment.limit_a is not None:
        limits.append((assessment.limit_a, f"limit {assessment.limit_a:g} A"))
    needed = assessment.needed_v
    return [
        Chart("Current over time, before any limit", "s", "A, all supplies", asked, limits),
        Chart(
            "Lowest voltage of an LED over time", "s", "V", volts,
            [(needed, f"below {needed:.2f} V colours shift")], zero=False,
        ),
    ]  # fmt: skip


def volts_chart(display: Display, assessment: Assessment) -> Chart:
    """Voltage along every line, under the picture with the lowest voltage."""
    wiring, volts = display.wiring, np.concatenate(assessment.run_volts)
    lines = np.split(volts, wiring.line_starts[1:])
    order = sorted(range(len(lines)), key=lambda line: float(lines[line].min()))
    chosen = sorted(order[:_MOST_LINES])
    series = [
        Series(wiring.line_names[n], np.arange(len(lines[n]), dtype=np.float64), lines[n])
        for n in chosen
    ]
    which = "every line" if len(chosen) == len(lines) else f"the {len(chosen)} lowest lines"
    needed = assessment.needed_v
    return Chart(
        f"Voltage along {which}, with the picture that needs most", "LED on its line",
        "V at the LED", series, [(needed, f"below {needed:.2f} V colours shift")], zero=False,
    )  # fmt: skip


def flash_charts(judged: Judgement) -> list[Chart]:
    """Luminance of the worst place, and its flashes in the second before."""
    worst, seconds = judged.worst, judged.times_ns / SECOND_NS
    place = f"column {worst.column}, row {worst.row}"
    spans = (
        [(worst.from_ns / SECOND_NS, worst.to_ns / SECOND_NS, "worst second")] if worst.most else []
    )
    counts = judged.flashes.astype(np.float64)
    return [
        Chart(
            f"Relative luminance at {place}", "s", "share of the wall's white",
            [Series("luminance", seconds, judged.luminance, step=True)], spans=spans,
        ),
        Chart(
            f"{worst.kind.capitalize()} flashes there in the second before", "s", "flashes",
            [Series("flashes", seconds, counts, step=True)],
            [(MOST_FLASHES, f"at most {MOST_FLASHES} are below the threshold")], spans=spans,
        ),
    ]  # fmt: skip
