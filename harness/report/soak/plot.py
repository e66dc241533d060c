"""The chart of `foreglow soak`: current against time, with the faults."""

from __future__ import annotations

from typing import TYPE_CHECKING

from emulator.description.display import Display
from harness.report.chart import beside, chart_bytes
from harness.soak.soak import Soaked

if TYPE_CHECKING:
    from matplotlib.figure import Figure

# Colours that people with any colour vision can tell apart: Okabe and Ito, 'Color Universal
# Design', 2008 (from memory).
_MEAN, _MOST, _FAULT = "#0072b2", "#56b4e9", "#d55e00"


def soak_plot(display: Display, soaked: Soaked, form: str = "png") -> bytes:
    """The chart as a file, form 'png' or 'svg'; the same soak gives the same bytes."""
    return chart_bytes(lambda: soak_figure(display, soaked), form)


def soak_figure(display: Display, soaked: Soaked) -> Figure:
    """Mean and largest current of each stretch of frames; each fault as a named line."""
    from matplotlib.figure import Figure  # here: see report/chart.py

    figure = Figure(figsize=(10, 4.5), dpi=120, layout="constrained")
    axes = figure.subplots()
    begins_s, mean_a, most_a = soaked.curve
    unit_s, unit = next(
        (s, name) for s, name in ((3600, "hours"), (60, "minutes"), (1, "seconds"))
        if soaked.seconds >= s or s == 1
    )  # fmt: skip
    at = begins_s / unit_s
    axes.fill_between(at, mean_a, most_a, step="post", color=_MOST, alpha=0.5, lw=0, label="most")
    axes.step(at, mean_a, where="post", color=_MEAN, lw=1.2, label="mean")
    top = max(most_a.max(initial=0.0), 1e-3)
    if soaked.limit_a is not None and soaked.limit_a < 3 * top:
        axes.axhline(soaked.limit_a, color="black", ls="--", lw=1, label="limit")
        top = max(top, soaked.limit_a)
    for outcome in soaked.outcomes:
        if outcome.at_s > soaked.seconds:  # it never began
            continue
        axes.axvline(outcome.at_s / unit_s, color=_FAULT, ls=":", lw=1)
        axes.annotate(
            outcome.name, (outcome.at_s / unit_s, 1.0), xycoords=("data", "axes fraction"),
            xytext=(3, -3), textcoords="offset points", va="top", rotation=90, color=_FAULT,
            fontsize=8,
        )  # fmt: skip
    axes.set_ylim(0, 1.25 * top)
    axes.set_xlim(0, soaked.seconds / unit_s)
    axes.set_xlabel(f"{unit} of the show")
    axes.set_ylabel("amperes, all supplies")
    axes.spines[["top", "right"]].set_visible(False)
    axes.grid(alpha=0.25)
    beside(axes)
    figure.suptitle(f"{display.name}, {soaked.scene}: current", x=0.01, ha="left", weight="bold")
    return figure
