"""The chart of `foreglow flash`: luminance and flashes of the worst place over time."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from emulator.description.display import Display
from harness.flash.judge import MOST_FLASHES, Judgement
from harness.report.chart import chart_bytes

if TYPE_CHECKING:
    from matplotlib.figure import Figure

# Colours that people with any colour vision can tell apart: Okabe and Ito, 'Color Universal
# Design', 2008 (from memory).
_LIGHT, _COUNT, _WORST = "#0072b2", "#d55e00", "#f0e442"
_GREY = "#666666"
_SPANS = 2000  # of time, each drawn with its extremes: more than the chart has pixels across


def flash_plot(name: str, display: Display, judged: Judgement, form: str = "png") -> bytes:
    """The chart as a file, form 'png' or 'svg'; the same judgement gives the same bytes."""
    return chart_bytes(lambda: flash_figure(name, display, judged), form)


def flash_figure(name: str, display: Display, judged: Judgement) -> Figure:
    """Relative luminance above, flashes in the second before below. Marks the worst second."""
    from matplotlib.figure import Figure  # here: see report/chart.py

    worst = judged.worst
    seconds = judged.times_ns / 1e9
    figure = Figure(figsize=(8, 5.4), dpi=120, layout="constrained")
    above, below = figure.subplots(2, 1, sharex=True, height_ratios=(3, 2))
    for axes, values, colour in (
        (above, judged.luminance, _LIGHT),
        (below, judged.flashes, _COUNT),
    ):
        drawn = _extremes(values)
        axes.step(seconds[drawn], values[drawn], where="post", color=colour, lw=1.2)
    below.axhline(MOST_FLASHES, color=_GREY, ls=":", lw=1.2)
    for axes in (above, below):
        if worst.most:
            axes.axvspan(worst.from_ns / 1e9, worst.to_ns / 1e9, color=_WORST, alpha=0.35, lw=0)
        axes.spines[["top", "right"]].set_visible(False)
        axes.grid(alpha=0.25)
    above.set_ylim(0, 1.02 * max(1.0, float(judged.luminance.max())))
    below.set_ylim(0, max(MOST_FLASHES, int(judged.flashes.max())) + 1)
    place = f"column {worst.column}, row {worst.row}"
    above.set_title(f"Relative luminance at {place}, 1 is the wall's white", loc="left")
    below.set_title(
        f"{worst.kind.capitalize()} flashes there in the second before; at most"
        f" {MOST_FLASHES} are below the threshold",
        loc="left",
    )
    below.set_xlabel("time, s")
    figure.suptitle(
        f"{display.name}, {name}, seen from {judged.distance_m:g} m",
        x=0.01, ha="left", weight="bold",
    )  # fmt: skip
    figure.supxlabel(
        "WCAG 2.2, SC 2.3.1. Information, not a medical clearance.", color=_GREY, size=8
    )
    return figure


def _extremes(values: NDArray[Any]) -> NDArray[np.intp]:
    """Indices of the values (T,) to draw: all, or the smallest and largest of equal spans."""
    numbers = np.arange(len(values))
    if len(values) <= 4 * _SPANS:
        return numbers
    spans = np.array_split(numbers, _SPANS)
    drawn = [{span[values[span].argmin()], span[values[span].argmax()]} for span in spans]
    return np.array(sorted({0, len(values) - 1}.union(*drawn)))
