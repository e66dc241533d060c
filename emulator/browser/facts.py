"""What a page must know once: the wall's cells and lines, the keys, the colours."""

from __future__ import annotations

from typing import Any

from emulator.description.display import Display
from emulator.light.numbers import led_numbers
from emulator.view import colours
from emulator.view.controls import CONTROLS, Action, State, pointing

# What belongs to the wall, so that all viewers share it; the rest each page does by itself.
SHARED = frozenset(
    {
        Action.PAUSE,
        Action.STEP,
        Action.NEXT,
        Action.PREVIOUS,
        Action.TIME,
        Action.NEARER,
        Action.FARTHER,
        Action.LIGHTER,
        Action.DARKER,
        Action.NIGHT,
        Action.COLOURS,
    }
)
# KeyboardEvent.key (W3C, UI Events KeyboardEvent key Values) of keys without a letter.
_KEYS = {
    "Space": " ",
    "Down": "ArrowDown",
    "Up": "ArrowUp",
    "Left": "ArrowLeft",
    "Right": "ArrowRight",
    "PgUp": "PageUp",
    "PgDn": "PageDown",
    "Esc": "Escape",
}
_COLOURS = ("SURROUND", "STRIP", "PANEL", "EDGE", "INK", "DIM", "ACCENT")


def facts(display: Display, state: State) -> dict[str, Any]:
    """The first message to a page."""
    grid, wiring = display.grid, display.wiring
    across_mm, down_mm = grid.pitches_mm
    ends = []
    for line, (start, length) in enumerate(
        zip(wiring.line_starts, wiring.line_lengths, strict=True)
    ):
        if length:
            first, last = int(start), int(start + length - 1)
            places = [[int(wiring.column[at]), int(wiring.row[at])] for at in (first, last)]
            ends.append([line, *places])
    return {
        "kind": "wall",
        "name": display.name,
        "columns": grid.columns,
        "rows": grid.rows,
        "tall": grid.rows * down_mm / (grid.columns * across_mm),
        "runs": [
            [r.line, [r.from_column, r.from_row], [r.to_column, r.to_row], r.cells_along]
            for r in wiring.runs
        ],
        "ends": ends,
        "sources": list(state.sources),
        "controls": [
            {
                "action": control.action.name,
                "key": _KEYS.get(control.key_name, control.key_name.lower()),
                "name": control.key_name,
                "words": control.words,
                "shared": control.action in SHARED,
            }
            for control in CONTROLS
            if state.offers(control.action)
        ],
        "pointing": pointing(state),
        "lines": [_hex(colour) for colour in colours.LINE_COLOURS],
    }


def numbers(display: Display, wide: int) -> dict[str, Any]:
    """The LED numbers for a wall `wide` pixels across (of a screen of usual density)."""
    across_mm, down_mm = display.grid.pitches_mm
    cell_wide = wide / display.grid.columns
    size, shown = led_numbers(display, cell_wide, cell_wide * down_mm / across_mm)
    return {"kind": "numbers", "wide": wide, "size": size, "shown": [list(one) for one in shown]}


def style() -> str:
    """The window's colours as CSS: --surround, --ink and so on."""
    lines = (f"--{name.lower()}: {_hex(getattr(colours, name))};" for name in _COLOURS)
    return f":root {{ {' '.join(lines)} }}\n"


def _hex(colour: tuple[int, int, int]) -> str:
    return "#{:02x}{:02x}{:02x}".format(*colour)
