"""The plot of `foreglow power`: voltage along every run, and current against time."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from emulator.description.display import Display
from harness.power import Assessment, Course
from harness.report.chart import beside, chart_bytes

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

# Colours that people with any colour vision can tell apart: Okabe and Ito, 'Color Universal
# Design', 2008 (from memory); without black, for text, and yellow, too faint on white.
COLOURS = ("#0072b2", "#d55e00", "#009e73", "#cc79a7", "#56b4e9", "#e69f00")
STYLES = ("-", "--", ":")  # for lines 0 to 5, 6 to 11, 12 to 17
_MOST_NAMED = 12
_GREY = "#666666"
_MOST_POINTS = 4000  # of a curve over time: more would not show


def power_plot(
    display: Display, assessment: Assessment, courses: Sequence[Course], form: str = "png"
) -> bytes:
    """The two panels as a file: form 'png' or 'svg'. `courses` are drawn against time.

    The same input gives the same bytes.
    """
    return chart_bytes(lambda: power_figure(display, assessment, courses), form)


def power_figure(display: Display, assessment: Assessment, courses: Sequence[Course]) -> Figure:
    """The two panels: voltage along every run above, current against time below."""
    from matplotlib.figure import Figure  # here: see report/chart.py

    figure = Figure(figsize=(10, 8), dpi=120, layout="constrained")
    along, over_time = figure.subplots(2, 1)
    _voltage(along, display, assessment)
    _current(over_time, assessment, courses)
    figure.suptitle(f"{display.name}: power", x=0.01, ha="left", weight="bold")
    figure.supxlabel(assessment.caution, fontsize=7.5, color=_GREY, wrap=True)
    return figure


def _voltage(axes: Axes, display: Display, a: Assessment) -> None:
    """One curve for each run, over the number of the LED on its line; each line has a colour."""
    named: set[int] = set()
    runs = display.wiring.runs
    for run, volts in zip(runs, a.run_volts, strict=True):
        colour = COLOURS[run.line % len(COLOURS)]
        label = None if run.line in named else display.wiring.line_names[run.line]
        named.add(run.line)
        leds = np.arange(run.first, run.last + 1)
        style = STYLES[run.line // len(COLOURS) % len(STYLES)]
        mark = "." if run.leds == 1 else ""
        axes.plot(leds, volts, style, color=colour, label=label, lw=1.5, marker=mark)
    low = a.lowest
    axes.plot([low.led], [low.volts], "o", color="black", ms=6, zorder=5)
    right = low.led > max(display.wiring.line_lengths) / 2
    axes.annotate(
        f"lowest: {low.volts:.2f} V, LED {low.led} of line {low.line}",
        (low.led, low.volts), xytext=(-8 if right else 8, -14), textcoords="offset points",
        ha="right" if right else "left", va="top",
    )  # fmt: skip
    highest = max(s.volts for s in a.supplies)
    bottom = low.volts - 0.18 * (highest - low.volts) - 0.05
    if a.needed_v > bottom - 0.2:
        axes.axhline(a.needed_v, color=_GREY, ls=":", lw=1.2)
        axes.annotate(
            f"below {a.needed_v:.2f} V colours shift", (0.995, a.needed_v),
            xycoords=("axes fraction", "data"), xytext=(0, 3), textcoords="offset points",
            ha="right", color=_GREY,
        )  # fmt: skip
        bottom = min(bottom, a.needed_v - 0.1)
    axes.set_ylim(bottom, highest + 0.05 * (highest - bottom))
    axes.set_xlim(-1, max(display.wiring.line_lengths))
    axes.set_title("Voltage along every run", loc="left")
    axes.set_xlabel("LED on its line, from 0")
    axes.set_ylabel("volts at the LED")
    if len(named) <= _MOST_NAMED:
        beside(axes)
    _plain(axes)


def _current(axes: Axes, a: Assessment, courses: Sequence[Course]) -> None:
    """One curve for each scene, as asked for before any limit; rating and limits as lines."""
    for number, course in enumerate(courses):
        every = -(-len(course.times_ns) // _MOST_POINTS)
        seconds = course.times_ns[::every] / 1e9
        colour = COLOURS[number % len(COLOURS)]
        axes.plot(seconds, course.asked_a[::every], color=colour, lw=1.5, label=course.name)
        if course.limit_a is not None and course.above_limit:
            sent = course.sent_a[::every]
            axes.plot(seconds, sent, color=colour, lw=1.2, ls="--", label="under the limit")
    rated = sum(s.rated_a for s in a.supplies)
    levels = [
        (rated, "-", f"supplies rated {rated:g} A"),
        (a.white.asked_a, "-.", f"full white {a.white.asked_a:.1f} A"),
    ]
    if a.limit_a is not None:
        levels.append((a.limit_a, "--", f"limit {a.limit_a:g} A"))
    for amps, style, label in levels:
        axes.axhline(amps, color="black", ls=style, lw=1, label=label)
    axes.set_ylim(0, 1.12 * max([amps for amps, *_ in levels] + [c.asked_a.max() for c in courses]))
    axes.set_xlim(0, max((c.seconds for c in courses), default=1.0))
    axes.set_title("Current against time", loc="left")
    axes.set_xlabel("seconds")
    axes.set_ylabel("amperes, all supplies")
    beside(axes)
    _plain(axes)


def _plain(axes: Axes) -> None:
    axes.spines[["top", "right"]].set_visible(False)
    axes.grid(axis="y", color="#dddddd", lw=0.7)
    axes.set_axisbelow(True)
