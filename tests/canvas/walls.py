"""Small walls with settings of [canvas], for the tests of this folder."""

from __future__ import annotations

from pathlib import Path

from emulator import Display, parse_display


def wall(settings: str = "", part: str = "WS2812B", size: tuple[int, int] = (2, 2)) -> Display:
    """A wall of (columns, rows) on one line, serpentine from the top left."""
    columns, rows = size
    text = f"[grid]\ncolumns={columns}\nrows={rows}\n[chip]\npart='{part}'\n[wiring]\n"
    return parse_display(f"{text}[canvas]\n{settings}\n", Path("wall.toml"))
