"""The matrix of a campaign as a picture: kinds of faults against patterns, for each observer."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from harness.campaign.campaign import Campaign, Observed
from harness.report.campaign.terminal import OBSERVERS
from harness.report.chart import chart_bytes

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


def campaign_plot(campaign: Campaign, form: str = "png") -> bytes:
    """The picture as a file, form 'png' or 'svg'; the same campaign gives the same bytes."""
    return chart_bytes(lambda: campaign_figure(campaign), form)


def campaign_figure(campaign: Campaign) -> Figure:
    """A panel for each observer: of each kind, the share in per cent that each pattern shows."""
    from matplotlib.figure import Figure  # here: see report/chart.py

    high = 2.2 + 0.3 * len(campaign.kinds)
    wide = 4 + 0.55 * len(OBSERVERS) * len(campaign.patterns)
    figure = Figure(figsize=(wide, high), dpi=120, layout="constrained")
    for axes, (name, title) in zip(
        figure.subplots(1, len(OBSERVERS), sharey=True), OBSERVERS.items(), strict=True
    ):
        _panel(axes, campaign, getattr(campaign, name))
        axes.set_title(f"In {title}" if name == "exact" else f"Seen by {title}", fontsize=10)
    figure.suptitle(
        f"{campaign.display.name}: % of {len(campaign.faults):,} single faults that each pattern"
        " shows",
        x=0.01, ha="left", weight="bold",
    )  # fmt: skip
    return figure


def _panel(axes: Axes, campaign: Campaign, observed: Observed) -> None:
    names = [*campaign.kinds]
    which = [*campaign.kinds.values()]
    shares = np.array([observed.matrix[some].mean(axis=0) for some in which])
    shares = shares.reshape(len(names), len(campaign.patterns))
    axes.imshow(shares, cmap="Blues", vmin=0, vmax=1, aspect="auto")
    for row, column in np.ndindex(shares.shape):
        share = shares[row, column]
        if share:
            axes.text(
                column, row, f"{np.floor(100 * share):.0f}" if share >= 0.01 else "<1",
                ha="center", va="center", fontsize=7,
                color="white" if share > 0.6 else "black",
            )  # fmt: skip
    labels = [f"{name} ({len(some):,})" for name, some in zip(names, which, strict=True)]
    axes.set_yticks(range(len(names)), labels, fontsize=8)
    patterns = [pattern.name for pattern in campaign.patterns]
    axes.set_xticks(range(len(patterns)), patterns, rotation=45, ha="right", fontsize=8)
    axes.tick_params(length=0)
    axes.spines[:].set_visible(False)
