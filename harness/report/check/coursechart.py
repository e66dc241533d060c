"""A course over time as a chart: what an assertion measured, its limits, and where it failed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from harness.report.chart import beside, chart_bytes
from harness.result.course import Course

if TYPE_CHECKING:
    from matplotlib.figure import Figure

# Colours that people with any colour vision can tell apart: Okabe and Ito, 'Color Universal
# Design', 2008 (from memory).
_VALUE, _WORST = "#0072b2", "#d55e00"
_STYLES = ("--", ":", "-.")


def course_chart(course: Course) -> bytes:
    """The chart as a PNG file."""
    return chart_bytes(lambda: course_figure(course), "png")


def course_figure(course: Course) -> Figure:
    """The values over time, each limit as a line across, and the worst moment as a point."""
    from matplotlib.figure import Figure  # here: see report/chart.py

    figure = Figure(figsize=(9, 3), dpi=110, layout="constrained")
    axes = figure.subplots()
    axes.step(
        course.times_s, course.values, where="post", color=_VALUE, lw=1.3, marker=".",
        ms=3 if len(course.values) <= 200 else 0, label=course.what,
    )  # fmt: skip
    for style, (limit, label) in zip(_STYLES, course.limits, strict=False):
        axes.axhline(limit, color="black", ls=style, lw=1, label=label)
    worst = course.worst
    axes.plot(
        [course.times_s[worst]], [course.values[worst]], "o", color=_WORST, ms=6, zorder=5,
        label=f"worst: {course.values[worst]:.4g} {course.unit} at {course.times_s[worst]:.3f} s",
    )  # fmt: skip
    shown = [*course.values.tolist(), *(limit for limit, _ in course.limits)]
    room = 0.08 * ((max(shown) - min(shown)) or 1.0)
    axes.set_ylim(min(shown) - room, max(shown) + room)
    axes.set_xlabel("time, s")
    axes.set_ylabel(course.unit)
    axes.spines[["top", "right"]].set_visible(False)
    axes.grid(alpha=0.25)
    beside(axes)
    return figure
