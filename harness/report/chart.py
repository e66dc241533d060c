"""A chart as a file: the same for every report that draws one."""

from __future__ import annotations

import io
import warnings
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from emulator.files import MARK
from emulator.plaintext import clean

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def chart_bytes(draw: Callable[[], Figure], form: str) -> bytes:
    """What `draw` draws as a file, form 'png' or 'svg'; the same drawing gives the same bytes."""
    # Here: it is slow to load, and few reports have a chart.
    import matplotlib
    from matplotlib.text import Text

    data = io.BytesIO()
    metadata = {"Date": None, "Creator": MARK} if form == "svg" else {"Software": MARK}
    # SVG: ids salted with a constant, not at random; words stay words.
    settings: Any = {"svg.hashsalt": "foreglow", "svg.fonttype": "none", "font.size": 10}
    with matplotlib.rc_context(settings), warnings.catch_warnings():
        # A name in letters that the font lacks: boxes in a PNG, words in an SVG, no warning.
        warnings.filterwarnings("ignore", "Glyph .* missing", UserWarning)
        figure = draw()
        for words in figure.findobj(Text):
            words.set_text(clean(words.get_text()))
            words.set_parse_math(False)  # a dollar sign in a name is one
        figure.savefig(data, format=form, metadata=metadata)
    return data.getvalue()
