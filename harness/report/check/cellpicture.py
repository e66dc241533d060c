"""A wall as squares in a PNG picture, for comparing cells."""

from __future__ import annotations

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from emulator.arrays import Bools, Light
from emulator.picture.srgb import linear_to_srgb

LEFT, TOP = 28, 16  # pixels for the numbers of rows and columns
_WIDE = 384  # pixels that the longer side fills, roughly: three pictures fit side by side
_LEAST, _MOST = 4, 32  # pixels for each cell
_LINE, _GAP = (48, 50, 58), (84, 88, 98)  # between the cells, and where there is no LED
_PAPER, _INK = (232, 232, 226), (60, 64, 72)  # around the wall, and its numbers
_MARK, _EDGE = (255, 0, 255), (255, 255, 255)  # frame of the asked cell: shows on every colour
_FONT_SIZE = 11
_APART = 8  # pixels between two numbers
_STEPS = (1, 2, 5, 10, 20, 50, 100, 200, 500)  # cells from one number to the next


def cell_picture(cells: Light, gap: Bools, asked: tuple[int, int] | None = None) -> Image.Image:
    """Linear light (rows, columns, 3) as numbered squares; a gap is grey with a line through it.

    asked: (column, row) of a cell to mark with a frame. The squares begin LEFT and TOP pixels from
    the corner.
    """
    rows, columns = gap.shape
    side = int(np.clip(_WIDE // max(rows, columns), _LEAST, _MOST))
    codes = np.round(255 * linear_to_srgb(cells)).astype(np.uint8)
    codes[gap] = _LINE
    squares = codes.repeat(side, axis=0).repeat(side, axis=1)
    down, across = np.indices(squares.shape[:2])
    struck = gap.repeat(side, axis=0).repeat(side, axis=1)
    squares[struck & (down % side == across % side)] = _GAP
    squares[(down % side == side - 1) | (across % side == side - 1)] = _LINE
    wall = Image.fromarray(np.pad(squares, ((1, 0), (1, 0), (0, 0)), constant_values=_LINE[0]))
    image = Image.new("RGB", (LEFT + wall.width + 2, TOP + wall.height + 2), _PAPER)
    image.paste(wall, (LEFT, TOP))
    draw = ImageDraw.Draw(image)
    _number(draw, rows, columns, side)
    if asked is not None:
        left, top = LEFT + asked[0] * side, TOP + asked[1] * side
        draw.rectangle((left - 2, top - 2, left + side + 2, top + side + 2), outline=_EDGE)
        draw.rectangle((left - 1, top - 1, left + side + 1, top + side + 1), outline=_MARK)
        draw.rectangle((left, top, left + side, top + side), outline=_MARK)
    return image


def _number(draw: ImageDraw.ImageDraw, rows: int, columns: int, side: int) -> None:
    """Write the numbers of columns above and of rows to the left, as many as fit."""
    font = ImageFont.load_default(_FONT_SIZE)
    wide = draw.textlength(str(columns - 1), font) + _APART
    for column in range(0, columns, _step(wide / side)):
        middle = LEFT + (column + 0.5) * side
        draw.text((middle, TOP - 2), str(column), _INK, font, anchor="mb")
    for row in range(0, rows, _step(_FONT_SIZE / side)):
        middle = TOP + (row + 0.5) * side
        draw.text((LEFT - 4, middle), str(row), _INK, font, anchor="rm")


def _step(least: float) -> int:
    """The round number of cells between two numbers that are at least so many cells apart."""
    return next(step for step in _STEPS if step >= least)
