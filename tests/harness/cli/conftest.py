"""What the tests of all commands share."""

from __future__ import annotations

import pytest

from emulator.files import MARK


@pytest.fixture(autouse=True)
def _charts(request, monkeypatch):
    """Charts are made but not drawn, unless the test is marked `charts`: drawing takes half of a
    command's time."""
    if request.node.get_closest_marker("charts"):
        return

    def undrawn(draw, form):
        draw()
        return f"a chart as {form}: {MARK}".encode()

    for report in ("campaign", "flash", "light", "power"):
        monkeypatch.setattr(f"harness.report.{report}.plot.chart_bytes", undrawn)
