"""The walls that are filmed: demos, and two more of an invented foyer."""

from __future__ import annotations

from pathlib import Path

from emulator import load_display
from emulator.description.display import Display

_BAR = """
about = "Bare strips behind the bar, round two shelves"
[grid]
columns = 24
rows = 14
pitch_mm = 33.333
gaps = [
    { column = 0, row = 0, columns = 3, rows = 2 },
    { column = 18, row = 9, columns = 4, rows = 3 },
]
[chip]
part = "WS2812B"
[wiring]
start = "bottom-right"
along = "columns"
path = "serpentine"
lines = 3
[power]
limit_a = 15
"""

_STAIRS = """
about = "Large wall above the stairs, rows closer than columns"
[grid]
columns = 60
rows = 32
pitch_mm = 16.667
row_pitch_mm = 14.0
gaps = [{ column = 40, row = 20, columns = 5, rows = 12 }]
[chip]
part = "SK6812"
[wiring]
start = "top-left"
along = "rows"
path = "progressive"
lines = 8
[power]
limit_a = 60
"""

NAMES = ("foyer", "sign", "banner", "bar", "stairs")
_TEXTS = {"bar": _BAR, "stairs": _STAIRS}


def wall_file(name: str, folder: Path) -> str:
    """What `foreglow` takes for a wall: a demo's name, or a file written into a folder."""
    if name not in _TEXTS:
        return name
    path = folder / f"{name}.toml"
    path.write_text(_TEXTS[name])
    return str(path)


def wall(name: str, folder: Path) -> Display:
    """The display of that name; folder: for its file."""
    return load_display(wall_file(name, folder))
