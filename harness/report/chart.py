"""A chart as a file: the same for every report that draws one."""

from __future__ import annotations

import io
import warnings
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from emulator.files import MARK
from emulator.plaintext import clean

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


def chart_bytes(draw: Callable[[], Figure], form: str) -> bytes:
    """The figure from `draw` as a file, form 'png' or 'svg'; the same figure, the same bytes."""
    # Imported here: matplotlib is slow to load, and few reports have a chart.
    import matplotlib
    from matplotlib.text import Text

    data = io.BytesIO()
    metadata = {"Date": None, "Creator": MARK} if form == "svg" else {"Software": MARK}
    # SVG: constant ids, not random ones; text stays text.
    settings: Any = {"svg.hashsalt": "foreglow", "svg.fonttype": "none", "font.size": 10}
    with matplotlib.rc_context(settings), warnings.catch_warnings():
        # The font may lack letters of a name: these become boxes in a PNG, without a warning.
        warnings.filterwarnings("ignore", "Glyph .* missing", UserWarning)
        figure = draw()
        for words in figure.findobj(Text):
            words.set_text(clean(words.get_text()))
            words.set_parse_math(False)  # a dollar sign in a name is just a dollar sign
        figure.savefig(data, format=form, metadata=metadata)
    return data.getvalue()


def beside(axes: Axes) -> None:
    """Put the legend of a panel to its right, where it hides no line."""
    axes.legend(
        loc="upper left", bbox_to_anchor=(1.005, 1), borderaxespad=0, frameon=False, fontsize=8,
        handlelength=2.4,
    )  # fmt: skip
