"""A picture of the wall in the terminal: coloured blocks, or letters where there is no colour."""

from __future__ import annotations

from rich.color import Color
from rich.console import Console
from rich.style import Style
from rich.text import Text

from emulator.arrays import Bools, Srgb
from harness.find.pictures import MOVING, is_plain

_LETTERS = {0: ".", 1: "R", 2: "G", 3: "Y", 4: "B", 5: "M", 6: "C", 7: "W"}
_EVERY = 5  # columns have a number
_MARGIN = 5


def drawn(picture: Srgb, gap: Bools, console: Console, flickers: Bools | None = None) -> Text:
    """The picture (rows, columns, 3) with the numbers of rows and columns; blank in gaps.

    A letter is small if its cell is less than half as bright as it could be; ~ flickers. A wall
    that is wider than the terminal is cut, and says so.
    """
    rows, columns, _ = picture.shape
    room = max(console.width - _MARGIN - 1, 1)
    wide = 2 if 2 * columns <= room else 1
    shown = min(columns, room // wide)
    text = Text(" " * _MARGIN)
    head = "".join(f"{c:<{_EVERY * wide}}" for c in range(0, shown, _EVERY))
    text.append(head[: shown * wide] + "\n", "dim")
    for row in range(rows):
        text.append(f"{row:>{_MARGIN - 1}} ", "dim")
        for column in range(shown):
            if gap[row, column]:
                text.append(" " * wide)
                continue
            if flickers is not None and flickers[row, column]:
                text.append(f"{'~':<{wide}}")
                continue
            colour = tuple(int(v) for v in picture[row, column])
            text.append(*_cell(colour, wide, console.color_system is not None))
        text.append("\n")
    if shown < columns:
        text.append(f"{' ' * _MARGIN}columns {shown} to {columns - 1} have no room here\n", "dim")
    return text


def _cell(colour: tuple[int, ...], wide: int, coloured: bool) -> tuple[str, Style]:
    most = max(colour)
    key = sum((2 * value > most) << place for place, value in enumerate(colour)) if most > 8 else 0
    letter = _LETTERS[key] if most >= 188 else _LETTERS[key].lower()  # 188: half the light in sRGB
    letter = f"{letter:<{wide}}"
    if not coloured:
        return letter, Style.null()
    if most <= 8:
        return "· "[:wide], Style(dim=True)
    return " " * wide, Style(bgcolor=Color.from_rgb(*colour))


def picture_in_words(name: str, step: int, picture: Srgb) -> str:
    """How a picture of a pattern should look, in words."""
    if is_plain(picture):
        red, green, blue = (int(v) for v in picture[0, 0])
        if not red + green + blue:
            return "every LED dark"
        names = {(1, 0, 0): "red", (0, 1, 0): "green", (0, 0, 1): "blue", (1, 1, 1): "white"}
        most = max(red, green, blue)
        colour = names.get((int(red == most), int(green == most), int(blue == most)), "lit")
        return f"every LED {colour}" + ("" if most == 255 else ", not fully bright")
    if name in ("rows", "columns"):
        return f"{name[:-1]} {step} white, all others dark"
    if name == "checker":
        changes = ", changing every second" if step == MOVING else ""
        return f"every other cell white, as on a chessboard{changes}"
    if name == "ramp":
        colour = ("red", "green", "blue", "white")[step]
        return f"{colour}, from dark at the left to full at the right"
    return "as drawn"
