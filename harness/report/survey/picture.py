"""The picture of a survey: the film's own frame, straightened, with each LED's number."""

from __future__ import annotations

import numpy as np
from PIL import Image, ImageDraw

from emulator.arrays import Srgb
from emulator.light.lettering import line_high, text_wide, write
from harness.survey.straight import straight_map
from harness.survey.told import GAP, MARKS, Survey

_LEAST_PX, _MOST_PX = 18, 48  # of a cell
_WIDE_PX = 2400  # of the picture, if the cells are not too small then
_WHITE, _BLACK = (255, 255, 255), (0, 0, 0)
_DIMMED = 0.6  # so that numbers can be read on lit cells
_LINE_PX = 18  # of a line of the legend
# Colour is never the only sign.
_SIGNS: dict[str, tuple[str, tuple[int, int, int]]] = {
    "unread": ("?", (250, 220, 60)),
    "dark": ("x", (255, 80, 70)),
    "another LED": ("", (255, 150, 40)),
    "other light": ("~", (70, 200, 255)),
}
_MEANS = {
    "unread": "not read", "dark": "dark", "another LED": "box: another LED than planned",
    "other light": "weak, another hue or flickers",
}  # fmt: skip


def draw_survey(survey: Survey) -> Srgb:
    """sRGB (h, w, 3): the wall from the front, each cell with the number of the LED that it shows.

    The number is the one along its line; with several lines, 1:17 is LED 17 of line 1. A cell that
    differs from the plan has a box and a sign; the legend below says which.
    """
    columns = survey.marks.shape[1]
    px = int(np.clip(_WIDE_PX // columns, _LEAST_PX, _MOST_PX))
    ground = (_straightened(survey, px) * _DIMMED).astype(np.uint8)
    marks = [name for name in _SIGNS if (survey.marks == MARKS.index(name)).any()]
    legend = _legend(marks, ground.shape[1])
    image = Image.fromarray(np.concatenate([ground, legend]))
    pen = ImageDraw.Draw(image)
    names = _names(survey)
    wide = max((len(name) for name in names.values()), default=1)
    size = next((s for s in range(22, 6, -1) if text_wide("0" * wide, s) <= px - 3), 6)
    for row, column in np.argwhere(survey.marks != GAP).tolist():
        name = MARKS[survey.marks[row, column]]
        sign, colour = _SIGNS.get(name, ("", _WHITE))
        left, top = column * px, row * px
        if name in _SIGNS:
            pen.rectangle((left, top, left + px - 1, top + px - 1), outline=colour, width=2)
        text = names.get((row, column), sign)
        place = left + (px - text_wide(text, size)) / 2
        write(pen, place, top + px / 2, text, size, colour, _BLACK)
        if sign == "~":
            write(pen, left + 3, top + px - size / 2, sign, size, colour, _BLACK)
    return np.asarray(image)


def _names(survey: Survey) -> dict[tuple[int, int], str]:
    """The number that each cell (row, column) shows."""
    wiring = survey.seen.display.wiring
    lines = len(wiring.line_lengths) > 1
    found = {}
    for row, column in np.argwhere(survey.seen.number >= 0).tolist():
        at = wiring.placed[survey.seen.number[row, column]]
        line = f"{wiring.line[at]}:" if lines else ""
        found[row, column] = f"{line}{wiring.led[at]}"
    return found


def _straightened(survey: Survey, px: int) -> Srgb:
    """The still with `px` pixels a cell, interpolated between its pixels; black beside it."""
    import cv2  # of the extra `camera`

    still = survey.seen.still
    x, y = straight_map(survey.seen.outline, survey.marks.shape, px)
    drawn = cv2.remap(still, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    high, wide = still.shape[:2]
    inside = (x >= -0.5) & (x <= wide - 0.5) & (y >= -0.5) & (y <= high - 0.5)
    return np.where(inside[..., None], drawn, 0).astype(np.uint8)


def _legend(marks: list[str], wide: int) -> Srgb:
    """A line for each sign that comes up; none if there is none."""
    image = Image.new("RGB", (wide, len(marks) * sum(line_high(_LINE_PX))), _BLACK)
    pen = ImageDraw.Draw(image)
    for number, name in enumerate(marks):
        sign, colour = _SIGNS[name]
        middle = (number + 0.5) * sum(line_high(_LINE_PX))
        text = f"{sign}  {_MEANS[name]}" if sign else _MEANS[name]
        write(pen, _LINE_PX / 2, middle, text, _LINE_PX, colour)
    return np.asarray(image)
