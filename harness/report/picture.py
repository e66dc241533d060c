"""A wall as text: in colour for a terminal, in letters for plain text."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from rich.style import Style
from rich.text import Text

from emulator.picture.srgb import linear_to_srgb

_SURROUND = (24, 24, 28)


def colour_picture(cells: NDArray[np.float32], gap: NDArray[np.bool_]) -> Text:
    """Two cells in each character: linear light (rows, columns, 3); gaps look like the surround."""
    shown = np.round(255 * linear_to_srgb(cells)).astype(int)
    shown[gap] = _SURROUND
    if len(shown) % 2:
        shown = np.concatenate([shown, np.full_like(shown[:1], _SURROUND[0])])
    text = Text(no_wrap=True)
    for upper, lower in zip(shown[::2], shown[1::2], strict=True):
        for top, bottom in zip(upper, lower, strict=True):
            style = Style(color=f"rgb({top[0]},{top[1]},{top[2]})",
                          bgcolor=f"rgb({bottom[0]},{bottom[1]},{bottom[2]})")  # fmt: skip
            text.append("▀", style)
        text.append("\n")
    text.right_crop(1)
    return text


# One letter for each set of lit channels; capitals for more than half of the light.
_LETTERS = np.array(list(".rgybmcw"))


def letter_picture(cells: NDArray[np.float32], gap: NDArray[np.bool_]) -> list[str]:
    """One line for each row: r g b, y c m for mixtures, w for white, capital if bright, . if dark.

    cells: linear light (rows, columns, 3). A gap is a space.
    """
    peak = cells.max(axis=-1)
    lit = cells > np.maximum(peak[..., None] * 0.4, 1.5 / 255)
    letters = _LETTERS[(lit * [1, 2, 4]).sum(axis=-1)]
    letters = np.where(peak > 0.5, np.char.upper(letters), letters)
    letters = np.where(gap, " ", letters)
    return ["".join(row) for row in letters]
