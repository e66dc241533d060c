"""A page as a list of shapes in mm from its top left corner; PDF and SVG are made from the same."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Literal, NamedTuple

import matplotlib
from PIL import ImageFont

Point = tuple[float, float]
Anchor = Literal["start", "middle", "end"]

PAPERS: dict[str, Point] = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}  # ISO 216; ANSI Y14.1
EDGE_MM = 12.0  # of a page that stays empty: printers cannot print up to the edge
FONTS = {False: "DejaVuSans", True: "DejaVuSans-Bold"}
_MEASURED = 100  # px at which widths of texts are measured


class Line(NamedTuple):
    """A line through points; `dash` in mm; `fill` closes and fills it. Colours as '#rrggbb'."""

    points: tuple[Point, ...]
    colour: str = "#222222"
    width: float = 0.25
    dash: tuple[float, ...] = ()
    fill: str = ""
    closed: bool = False


class Dot(NamedTuple):
    """A circle."""

    x: float
    y: float
    radius: float
    colour: str = "#222222"
    width: float = 0.2
    fill: str = ""


class Words(NamedTuple):
    """A line of text; (x, y) is on its baseline; `turned` reads upwards."""

    x: float
    y: float
    text: str
    size: float = 3.0
    anchor: Anchor = "start"
    bold: bool = False
    colour: str = "#111111"
    turned: bool = False


Shape = Line | Dot | Words


@dataclass
class Page:
    """One page: its size, its shapes; `clips`: shapes that show inside a rectangle only."""

    size: Point
    shapes: list[Shape] = field(default_factory=list)
    clips: list[tuple[tuple[float, float, float, float], list[Shape]]] = field(default_factory=list)

    def show(self, x: float, y: float, wide: float, tall: float, shapes: Iterable[Shape]) -> None:
        """Add shapes that show inside this rectangle only.

        Texts outside it are left out: a reader's search would find them, and nobody could see them.
        """
        shown: list[Shape] = []
        for shape in shapes:
            if isinstance(shape, Words):
                left, top, right, bottom = words_bounds(shape)
                if right < x or left > x + wide or bottom < y or top > y + tall:
                    continue
            shown.append(shape)
        self.clips.append(((x, y, wide, tall), shown))


def box(
    x: float, y: float, width: float, height: float, colour: str = "#222222", line: float = 0.25,
    fill: str = "", dash: tuple[float, ...] = (),
) -> Line:  # fmt: skip
    """A rectangle."""
    corners = ((x, y), (x + width, y), (x + width, y + height), (x, y + height))
    return Line(corners, colour, line, dash, fill, True)


def arrow(tip: Point, heading: Point, size: float, colour: str = "#222222") -> Line:
    """A filled arrow head."""
    (x, y), (dx, dy) = tip, heading
    foot = x - dx * size, y - dy * size
    half = 0.45 * size
    corners = (tip, (foot[0] - dy * half, foot[1] + dx * half),
               (foot[0] + dy * half, foot[1] - dx * half))  # fmt: skip
    return Line(corners, colour, 0.0, (), colour, True)


def font_path(bold: bool) -> Path:
    """The font file: DejaVu, which matplotlib brings along."""
    return Path(matplotlib.get_data_path()) / "fonts/ttf" / f"{FONTS[bold]}.ttf"


@cache
def _font(bold: bool) -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(str(font_path(bold)), _MEASURED, layout_engine=ImageFont.Layout.BASIC)


@cache
def width_of(text: str, size: float, bold: bool = False) -> float:
    """Width of a text in mm; size: of the font in mm."""
    return float(_font(bold).getlength(text)) * size / _MEASURED


def fitted(text: str, size: float, most: float, bold: bool = False) -> str:
    """The text, cut off with … if it is wider than `most` mm."""
    if width_of(text, size, bold) <= most:
        return text
    kept = text
    while kept and width_of(f"{kept}…", size, bold) > most:
        kept = kept[:-1]
    return f"{kept}…"


def wrapped(text: str, size: float, most: float, bold: bool = False) -> list[str]:
    """The text in lines of at most `most` mm; a longer word is broken."""
    lines: list[str] = []
    now = ""
    for word in text.split():
        tried = f"{now} {word}".strip()
        if width_of(tried, size, bold) <= most:
            now = tried
            continue
        lines += [now] if now else []
        while width_of(word, size, bold) > most and len(word) > 1:
            fits = next(
                n for n in range(len(word) - 1, 0, -1)
                if n == 1 or width_of(word[:n], size, bold) <= most
            )  # fmt: skip
            lines.append(word[:fits])
            word = word[fits:]
        now = word
    return [*lines, now] if now or not lines else lines


def bounds(shapes: Sequence[Shape]) -> tuple[float, float, float, float]:
    """Left, top, right, bottom of what shapes cover."""
    xs: list[float] = []
    ys: list[float] = []
    for shape in shapes:
        if isinstance(shape, Line):
            xs += [p[0] for p in shape.points]
            ys += [p[1] for p in shape.points]
        elif isinstance(shape, Dot):
            xs += [shape.x - shape.radius, shape.x + shape.radius]
            ys += [shape.y - shape.radius, shape.y + shape.radius]
        else:
            left, top, right, bottom = words_bounds(shape)
            xs += [left, right]
            ys += [top, bottom]
    return min(xs), min(ys), max(xs), max(ys)


def words_bounds(words: Words) -> tuple[float, float, float, float]:
    """Left, top, right, bottom of a text, from its baseline to the height of capitals."""
    wide, tall = width_of(words.text, words.size, words.bold), 0.73 * words.size
    back = {"start": 0.0, "middle": wide / 2, "end": wide}[words.anchor]
    if words.turned:
        return words.x - tall, words.y + back - wide, words.x, words.y + back
    return words.x - back, words.y - tall, words.x - back + wide, words.y
