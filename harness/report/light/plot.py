"""The chart of `foreglow light`: uniformity and cross-talk against the depth of the cover."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from emulator.description.display import Display
from harness.light.assessment import LightReport
from harness.report.chart import chart_bytes

if TYPE_CHECKING:
    from matplotlib.figure import Figure

# Colours that people with any colour vision can tell apart: Okabe and Ito, 'Color Universal
# Design', 2008 (from memory).
_UNIFORM, _LEAK = "#0072b2", "#d55e00"
_GREY = "#666666"


def light_plot(display: Display, report: LightReport, form: str = "png") -> bytes:
    """The chart as a file, form 'png' or 'svg'; the same report gives the same bytes."""
    return chart_bytes(lambda: light_figure(display, report), form)


def light_figure(display: Display, report: LightReport) -> Figure:
    """Uniformity above, cross-talk below, over the same depths. Marks the display's own depth."""
    from matplotlib.figure import Figure  # here: see report/chart.py

    depths, own_mm = report.depths, display.cover.depth_mm
    figure = Figure(figsize=(8, 6), dpi=120, layout="constrained")
    above, below = figure.subplots(2, 1, sharex=True, height_ratios=(3, 2))
    above.plot(depths.depth_mm, depths.min_to_mean, color=_UNIFORM, lw=2)
    below.plot(depths.depth_mm, 100 * np.array(depths.crosstalk), color=_LEAK, lw=2, ls="--")
    if depths.knee_mm is not None:
        at_knee = float(np.interp(depths.knee_mm, depths.depth_mm, depths.min_to_mean))
        above.plot([depths.knee_mm], [at_knee], "o", color="black", ms=6, zorder=5)
        # Below the line for the evenness wanted and its label, and above the other lines.
        below_it = min(at_knee - 0.1, depths.even - 0.1)
        above.annotate(
            f"knee: {depths.knee_mm:.0f} mm, min/mean {at_knee:.2f}",
            (depths.knee_mm, at_knee), xytext=(depths.knee_mm, max(below_it, 0.2)),
            va="top", bbox={"fc": "white", "ec": "none", "pad": 1.5}, zorder=4,
            arrowprops={"arrowstyle": "-", "color": _GREY, "lw": 0.8},
        )  # fmt: skip
    if depths.even_mm is not None and depths.even_mm <= depths.depth_mm[-1]:
        above.axhline(depths.even, color=_GREY, ls=":", lw=1.2)
        above.annotate(
            f"{depths.even:g} from {depths.even_mm:.0f} mm on", (0.995, depths.even),
            xycoords=("axes fraction", "data"), xytext=(0, -13), textcoords="offset points",
            ha="right", color=_GREY,
        )  # fmt: skip
    for axes in (above, below):
        axes.axvline(own_mm, color=_GREY, lw=1.2)
        axes.spines[["top", "right"]].set_visible(False)
        axes.grid(alpha=0.25)
        axes.set_xlim(depths.depth_mm[0], depths.depth_mm[-1])
    above.annotate(
        f"this cover: {own_mm:g} mm", (own_mm, 0.02), xycoords=("data", "axes fraction"),
        xytext=(4, 0), textcoords="offset points", color=_GREY,
    )  # fmt: skip
    above.set_ylim(0, 1.02)
    below.set_ylim(0, max(2.0, 110 * max(depths.crosstalk)))
    area = "a cell" if display.cover.walls == "none" else "an opening"
    above.set_title(f"Uniformity over {area}, all lit: min/mean", loc="left")
    below.set_title("Cross-talk: light of the cell beside a lit one, %", loc="left")
    below.set_xlabel("depth of the cover, mm")
    walls = "no walls" if display.cover.walls == "none" else f"{display.cover.walls} walls"
    figure.suptitle(
        f"{display.name}: {walls}",
        x=0.01, ha="left", weight="bold",
    )  # fmt: skip
    return figure
