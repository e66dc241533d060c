"""Lines of text for stills and the window, in the regular sans font that Pillow contains.

The font has few letters beyond ASCII. A missing letter is replaced by the one without accent ('ü'
by 'u', '²' by '2') or, if that is missing too, by '?'.
"""

from __future__ import annotations

import unicodedata
from functools import lru_cache
from math import ceil

from PIL import ImageDraw, ImageFont

Colour = tuple[int, int, int]

_NO_LETTER = "\U0010ffff"  # never a letter (Unicode, noncharacters): drawn as a box
_SPACE = 0.3  # of the size: at small sizes words run together with the font's own space


@lru_cache(maxsize=64)
def _face(px: int) -> ImageFont.FreeTypeFont:
    face = ImageFont.load_default(px)
    assert isinstance(face, ImageFont.FreeTypeFont)  # all wheels of Pillow have FreeType
    return face


@lru_cache(maxsize=4096)
def _in_face(letter: str) -> str:
    """The letter, or its replacement if the font lacks it."""
    if _drawn(letter) != _drawn(_NO_LETTER):
        return letter
    if unicodedata.category(letter) == "Pd":  # dashes
        return "-"
    plain = unicodedata.normalize("NFKD", letter)
    return "".join(part for part in plain if part.isascii() and part.isprintable()) or "?"


def _drawn(letter: str) -> tuple[tuple[int, int], bytes]:
    mask = _face(16).getmask(letter)
    return mask.size, bytes(mask)


def _words(text: str) -> list[str]:
    return "".join(map(_in_face, text)).split(" ")


@lru_cache(maxsize=1024)
def text_wide(text: str, px: int) -> int:
    """Width of a line of text in pixels; all digits are equally wide."""
    return ceil(sum(_advances(text, px)))


def line_high(px: int) -> tuple[int, int]:
    """Pixels above and below the baseline that the letters of a line may take."""
    return _face(px).getmetrics()


def fitted(text: str, px: int, wide: float) -> str:
    """The text, cut short with an ellipsis if it is wider than `wide` pixels."""
    if text_wide(text, px) <= wide:
        return text
    while text and text_wide(text + "…", px) > wide:
        text = text[:-1]
    return text.rstrip() + "…"


def write(
    pen: ImageDraw.ImageDraw,
    left: float,
    middle: float,
    text: str,
    px: int,
    ink: Colour,
    halo: Colour | None = None,
) -> None:
    """Write a line of text from x = `left`, centred on y = `middle`.

    px: size of the font. halo: colour of an edge of one pixel; None: no edge.
    """
    ascent, descent = line_high(px)
    baseline = middle + (ascent - descent) / 2
    for word, advance in zip(_words(text), _advances(text, px), strict=True):
        pen.text(
            (left, baseline),
            word,
            ink,
            _face(px),
            anchor="ls",
            stroke_width=0 if halo is None else 1,
            stroke_fill=halo,
        )
        left += advance


def _advances(text: str, px: int) -> list[float]:
    """How far the pen moves for each word, in pixels; the last word without a space after it."""
    advances = [_face(px).getlength(word) + _SPACE * px for word in _words(text)]
    advances[-1] -= _SPACE * px
    return advances
