"""What a command prints, drawn as a terminal would show it."""

from __future__ import annotations

import io
from pathlib import Path

import matplotlib
from PIL import Image, ImageDraw, ImageFont
from rich.console import Console
from rich.text import Text

FONT = Path(matplotlib.get_data_path()) / "fonts/ttf"  # DejaVu Sans Mono, which it brings along
SIZE, WIDE, HIGH = 13, 8, 17  # pixels: of the type, and of the cell of a letter
INK, PAGE = (214, 214, 206), (14, 15, 18)
COLOURS = {1: (240, 100, 90), 2: (120, 200, 110), 3: (230, 190, 80)}  # of ANSI: red, green, yellow
MARGIN = 12


def recorder(width: int = 80) -> Console:
    """A console of this many columns that keeps what is printed, and prints it nowhere else."""
    return Console(
        file=io.StringIO(), record=True, width=width, force_terminal=True, color_system="truecolor"
    )


def drawn(console: Console) -> Image.Image:
    """RGB picture of all that was printed on a console made by `recorder`."""
    lines = [Text.from_ansi(line) for line in console.export_text(styles=True).rstrip().split("\n")]
    size = console.width * WIDE + 2 * MARGIN, len(lines) * HIGH + 2 * MARGIN
    image = Image.new("RGB", size, PAGE)
    pen = ImageDraw.Draw(image)
    for row, line in enumerate(lines):
        for column, letter in enumerate(line.plain):
            style = line.get_style_at_offset(console, column)
            at = MARGIN + column * WIDE, MARGIN + row * HIGH
            _letter(pen, at, letter, _colour(style.color, INK), _colour(style.bgcolor, PAGE), style)
    return image


def _letter(pen, at, letter, ink, page, style) -> None:  # type: ignore[no-untyped-def]
    x, y = at
    if style.dim:
        ink = tuple((a + b) // 2 for a, b in zip(ink, PAGE, strict=True))
    if letter == "▀":  # two cells of a wall, one above the other
        pen.rectangle((x, y, x + WIDE - 1, y + HIGH // 2 - 1), ink)
        pen.rectangle((x, y + HIGH // 2, x + WIDE - 1, y + HIGH - 1), page)
    elif letter != " ":
        name = "DejaVuSansMono-Bold.ttf" if style.bold else "DejaVuSansMono.ttf"
        pen.text(at, letter, ink, ImageFont.truetype(str(FONT / name), SIZE))


def _colour(color, otherwise):  # type: ignore[no-untyped-def]
    if color is None or color.is_default:
        return otherwise
    if color.number in COLOURS:
        return COLOURS[color.number]
    return tuple(color.get_truecolor())
