"""A chart as a file: the same for every report that draws one."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from emulator.files import MARK

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def chart_bytes(draw: Callable[[], Figure], form: str) -> bytes:
    """What `draw` draws as a file, form 'png' or 'svg'; the same drawing gives the same bytes."""
    import matplotlib

    data = io.BytesIO()
    metadata = {"Date": None, "Creator": MARK} if form == "svg" else {"Software": MARK}
    # SVG: ids salted with a constant, not at random; words stay words.
    settings: Any = {"svg.hashsalt": "foreglow", "svg.fonttype": "none", "font.size": 10}
    with matplotlib.rc_context(settings):
        draw().savefig(data, format=form, metadata=metadata)
    return data.getvalue()
