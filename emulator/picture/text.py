"""Text on a wall of cells: still or moving, in a bitmap or TrueType font."""

from __future__ import annotations

import contextlib
import itertools
import unicodedata
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from emulator.arrays import Light
from emulator.description.display import Display
from emulator.errors import OutOfRangeError, SourceError
from emulator.picture.smallfont import small_font, spelt
from emulator.picture.source import ClosingSource, Colour, Source, close_source, light_of

Coverage = NDArray[np.float32]
"""(height, width) 0…1: the share of each cell that letters cover."""

_NO_CHARACTER = "\uffff"  # The Unicode Standard, 23.7: never a character, so in no font
_FEW_COLUMNS = 30  # fewer than five letters of the larger font are in view
_LARGE = 64  # at this size no letter looks like the box for missing letters

SPACE = 2  # cells between lines of text


class Text(ClosingSource):
    """Text that stays in the middle of the wall, or moves through it from right to left.

    text: one or more lines. cells_per_s: its speed; 0 does not move. smooth: move by fractions of
    a cell, with the light shared between neighbours; otherwise cell by cell, which keeps the
    strokes of a bitmap font crisp. font, size_cells: as for `letters`. colour: sRGB 0…255. ground:
    what is behind it, a colour or another source.

    Without font and size, small capitals (`small_letters`) replace letters that do not fit on the
    wall, and text that moves through fewer than 30 columns.
    Moving text comes in at the right edge at time 0 and starts again when all of it has left.
    Raises SourceError and OutOfRangeError as `letters` does, and SourceError when called for a wall
    that is too small for the text.
    """

    def __init__(
        self,
        text: str,
        *,
        cells_per_s: float = 0.0,
        smooth: bool = False,
        font: Path | str | None = None,
        size_cells: int | None = None,
        colour: Colour = (255, 214, 150),
        ground: Colour | Source = (0, 0, 0),
    ) -> None:
        lines = text.split("\n")
        self._text = text
        self._choices = [stacked([letters(line, font, size_cells) for line in lines])]
        if font is None and size_cells is None:
            with contextlib.suppress(SourceError):  # the small font may lack letters
                self._choices.append(stacked([small_letters(line) for line in lines]))
        self._cells_per_s = cells_per_s
        self._smooth = smooth
        self._colour = colour
        self._ground = ground

    def __call__(self, time_s: float, display: Display) -> Light:
        rows, columns, _ = display.picture_shape
        chosen = self._fitting(rows, columns)
        height, width = chosen.shape
        left: float = (columns - width) // 2
        if self._cells_per_s:
            left = columns - time_s * self._cells_per_s % (width + columns)
            left = left if self._smooth else np.ceil(left)
        coverage = place(chosen, rows, columns, (rows - height) // 2, left)
        return inked(coverage, self._colour, self._ground, time_s, display)

    def _fitting(self, rows: int, columns: int) -> Coverage:
        """The largest letters that fit. Raises SourceError if none do."""
        narrow = self._cells_per_s and columns < _FEW_COLUMNS
        for chosen in reversed(self._choices) if narrow else self._choices:
            fits = len(chosen) <= rows and (self._cells_per_s or chosen.shape[1] <= columns)
            if fits or not chosen.any():
                return chosen
        height, width = self._choices[-1].shape
        raise SourceError(
            f"{self._text!r} takes {width} × {height} cells, and the wall has {columns} × {rows}",
            fix="break it into lines with \\n, let it move (cells_per_s=8), or give a"
            " smaller font and size_cells.",
        )

    def close(self) -> None:
        """Close the ground, if it is a source."""
        if callable(self._ground):
            close_source(self._ground)


def inked(
    coverage: Coverage, colour: Colour, ground: Colour | Source, time_s: float, display: Display
) -> Light:
    """A picture (rows, columns, 3) of `coverage` in a colour over a ground, in linear light."""
    if callable(ground):
        behind = light_of(ground(time_s, display), display.canvas.curve)
    else:
        behind = light_of(np.array(ground, dtype=np.uint8))
    ink = light_of(np.array(colour, dtype=np.uint8))
    return (behind + coverage[..., None] * (ink - behind)).clip(0, 1).astype(np.float32)


@lru_cache(maxsize=128)
def letters(text: str, font: Path | str | None = None, size_cells: int | None = None) -> Coverage:
    """One line of text, cut to its rows with ink, but never empty. Do not write to the array.

    Without font and size: Pillow's bitmap font, digits 7 cells high, Latin-1 only, with a dark
    column between letters. With only a size: Pillow's regular sans, which has no accents. With a
    font file (TrueType, OpenType) and a size: that font.
    size_cells: the size of the type, as printers use the word; capitals take about 0.7 of it.

    Raises SourceError for a font that cannot be read, or letters that it does not have, and
    OutOfRangeError for a size below 4 or above 1024.
    """
    face = _face(font, size_cells)
    text = unicodedata.normalize("NFC", text)  # fonts have 'é' rather than 'e' and an accent
    lacking = _lacking(text, face)
    if lacking:
        name = font or ("the bitmap font" if size_cells is None else "Pillow's sans")
        seen = (c if c.isprintable() else f"U+{ord(c):04X}" for c in lacking)
        raise SourceError(
            f"{name} has no {' '.join(seen)} (in {text!r})",
            fix='name a font file with these letters: font="….ttf", size_cells=12.',
        )
    if isinstance(face, ImageFont.FreeTypeFont):
        coverage = _drawn(text or " ", face)
    else:
        coverage = _apart([_drawn(letter, face) for letter in text or " "])
    rows = np.flatnonzero(coverage.any(axis=1))
    cut = coverage[rows[0] : rows[-1] + 1] if rows.size else coverage
    cut.flags.writeable = False  # the cache keeps it for the next call
    return cut


def small_letters(text: str) -> Coverage:
    """One line of text in capitals 5 cells high, usually 3 wide; without accents.

    Raises SourceError for letters that this font does not have.
    """
    font, text = small_font(), spelt(text)
    lacking = [c for c in dict.fromkeys(text) if c not in font]
    if lacking:
        raise SourceError(
            f"the small font has no {' '.join(lacking)} (in {text!r})",
            fix="name a font file with these letters.",
        )
    parts = [np.pad(font[c], ((0, 0), (0, 1))) for c in text or " "]
    return np.concatenate(parts, axis=1)[:, :-1].astype(np.float32)


def _drawn(text: str, face: ImageFont.ImageFont | ImageFont.FreeTypeFont) -> Coverage:
    """A text as Pillow draws it, in the space that the font gives it."""
    mode, full = ("L", 255) if isinstance(face, ImageFont.FreeTypeFont) else ("1", 1)
    left, top, right, bottom = (int(v) for v in face.getbbox(text))
    image = Image.new(mode, (max(right - left, 1), max(bottom - top, 1)))
    ImageDraw.Draw(image).text((-left, -top), text, fill=full, font=face)
    coverage: Coverage = np.asarray(image, dtype=np.float32) / np.float32(full)
    return coverage


def _apart(glyphs: list[Coverage]) -> Coverage:
    """Letters side by side, with a dark column between two that would touch.

    Pillow's bitmap font gives each letter six columns, and some letters fill them all.
    """
    parts = [glyphs[0]]
    for before, after in itertools.pairwise(glyphs):
        if before[:, -1].any() and after[:, 0].any():
            parts.append(np.zeros((len(before), 1), dtype=np.float32))
        parts.append(after)
    return np.concatenate(parts, axis=1)


def stacked(parts: list[Coverage]) -> Coverage:
    """Lines of text below each other, each in the middle, `SPACE` cells apart."""
    width = max(part.shape[1] for part in parts)
    height = sum(len(part) + SPACE for part in parts) - SPACE
    coverage = np.zeros((height, width), dtype=np.float32)
    top = 0
    for part in parts:
        left = (width - part.shape[1]) // 2
        coverage[top : top + len(part), left : left + part.shape[1]] = part
        top += len(part) + SPACE
    return coverage


def place(coverage: Coverage, rows: int, columns: int, top: int, left: float) -> Coverage:
    """(rows, columns): `coverage` at (top, left), which may be outside; cut off at the edges.

    With a fraction in `left` each cell is shared between two neighbours.
    """
    whole = int(np.floor(left))
    share = left - whole
    if share:
        padded = np.pad(coverage, ((0, 0), (1, 1)))
        coverage = (1 - share) * padded[:, 1:] + share * padded[:, :-1]
    wall = np.zeros((rows, columns), dtype=np.float32)
    height, width = coverage.shape
    r0, r1 = max(top, 0), min(top + height, rows)
    c0, c1 = max(whole, 0), min(whole + width, columns)
    if r0 < r1 and c0 < c1:
        wall[r0:r1, c0:c1] = coverage[r0 - top : r1 - top, c0 - whole : c1 - whole]
    return wall


def _lacking(text: str, face: ImageFont.ImageFont | ImageFont.FreeTypeFont) -> list[str]:
    """The letters that a font does not have: it would draw empty boxes or nothing for them."""
    found = [letter for letter in dict.fromkeys(text) if not letter.isspace()]
    if not isinstance(face, ImageFont.FreeTypeFont):  # Pillow's own font, with Latin-1's codes
        return [c for c in found if ord(c) > 0xFF or face.getmask(c).getbbox() is None]
    with contextlib.suppress(OSError):  # a font of one size only
        face = face.font_variant(size=_LARGE)
    box = _glyph(_NO_CHARACTER, face)
    return [letter for letter in found if _glyph(letter, face) == box]


def _glyph(letter: str, face: ImageFont.FreeTypeFont) -> tuple[float, bytes]:
    return face.getlength(letter), bytes(face.getmask(letter))


def _face(
    font: Path | str | None, size_cells: int | None
) -> ImageFont.ImageFont | ImageFont.FreeTypeFont:
    if font is None and size_cells is None:
        return ImageFont.load_default_imagefont()
    size = 12 if size_cells is None else size_cells
    if not 4 <= size <= 1024:
        raise OutOfRangeError(
            f"the size of the type cannot be {size} cells", fix="give 4 to 1024; 12 reads well."
        )
    if font is None:
        return ImageFont.load_default(size)
    try:
        return ImageFont.truetype(str(font), size)
    except OSError as error:
        raise SourceError(
            f"{font} cannot be read as a font: {error}",
            fix="name a TrueType or OpenType file (.ttf, .otf).",
        ) from error
