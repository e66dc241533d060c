"""Walls of our own, their index maps and their bytes, from the words of the display file alone.

Nothing here comes from foreglow: the maps follow the words `start`, `along`, `path`, `lines` and
`gaps` of the display file, and the bytes follow the datasheets (WS2812B, Worldsemi: 24 bits, green
first; SK6812RGBW: green, red, blue, white; APA102: 32 zero bits, 0b111 and five bits of intensity,
blue, green, red, and at least half as many clock edges at the end as there are LEDs).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.generic]

CURVES: dict[str, Callable[[Array], Array]] = {
    # IEC 61966-2-1: linear up to 0.04045, then ((v + 0.055) / 1.055) ** 2.4
    "sRGB": lambda v: np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4),
    # CIE 15, inverse of L* = 116 f(Y) - 16, with L* = 100 v
    "L*": lambda v: np.where(v <= 0.08, v * 100 / 903.2963, ((100 * v + 16) / 116) ** 3),
}


@dataclass(frozen=True)
class Wall:
    """A wall in the words of the display file."""

    name: str
    columns: int
    rows: int
    part: str = "WS2812B"
    order: str = "GRB"
    start: str = "top-left"
    along: str = "rows"
    path: str = "serpentine"
    lines: int = 1
    gaps: tuple[tuple[int, int, int, int], ...] = ()  # column, row, columns, rows
    curve: str | float = "sRGB"
    white: tuple[float, float, float] = (1.0, 1.0, 1.0)
    brightness: float = 1.0
    dither: bool = False
    rate: float = 30.0

    @property
    def toml(self) -> str:
        """The display file."""
        gaps = ", ".join(
            f"{{ column = {c}, row = {r}, columns = {w}, rows = {h} }}" for c, r, w, h in self.gaps
        )
        curve = f'"{self.curve}"' if isinstance(self.curve, str) else self.curve
        order = "" if self.part == "APA102" else f'\norder = "{self.order}"'
        clock = "\nclock_mhz = 8" if self.part == "APA102" else ""
        return f"""[grid]
columns = {self.columns}
rows = {self.rows}
gaps = [{gaps}]
[chip]
part = "{self.part}"{order}
[wiring]
start = "{self.start}"
along = "{self.along}"
path = "{self.path}"
lines = {self.lines}
[controller]
frame_rate = {self.rate}{clock}
[canvas]
curve = {curve}
white = {list(self.white)}
brightness = {self.brightness}
dither = {str(self.dither).lower()}
"""

    def strips(
        self, start: str | None = None, along: str | None = None, path: str | None = None
    ) -> list[list[tuple[int, int]]]:
        """The cells (column, row) of each strip in the order of the data; gaps are left out.

        Each line starts again at the side where the display starts.
        """
        start, along, path = start or self.start, along or self.along, path or self.path
        columns, rows = list(range(self.columns)), list(range(self.rows))
        if "bottom" in start:
            rows.reverse()
        if "right" in start:
            columns.reverse()
        outer, inner = (rows, columns) if along == "rows" else (columns, rows)
        each = -(-len(outer) // self.lines)
        strips = []
        for n, o in enumerate(outer):
            back = path == "serpentine" and (n % each) % 2
            way = inner[::-1] if back else inner
            strips.append([(i, o) if along == "rows" else (o, i) for i in way])
        return [[c for c in strip if not self.is_gap(c)] for strip in strips]

    def is_gap(self, cell: tuple[int, int]) -> bool:
        return any(c <= cell[0] < c + w and r <= cell[1] < r + h for c, r, w, h in self.gaps)

    @cached_property
    def line_cells(self) -> list[Array]:
        """For each line, the cells (n, 2) of its LEDs: column, row."""
        strips = self.strips()
        each = -(-len(strips) // self.lines)
        blocks = [strips[i : i + each] for i in range(0, len(strips), each)]
        return [np.array([c for s in block for c in s]) for block in blocks]

    @cached_property
    def cells(self) -> Array:
        """The cells (N, 2) of all LEDs, line after line."""
        return np.concatenate(self.line_cells)

    @cached_property
    def runs(self) -> list[Array]:
        """The LEDs of each strip, as numbers over all lines."""
        ends = np.cumsum([0] + [len(s) for s in self.strips()])
        return [np.arange(a, b) for a, b in pairwise(ends)]

    @cached_property
    def bounds(self) -> Array:
        """First LED of each line, and one past the last."""
        return np.cumsum([0] + [len(c) for c in self.line_cells])

    @property
    def leds(self) -> int:
        return len(self.cells)

    def names(self, led: int) -> tuple[int, int]:
        """Line and place on the line of an LED."""
        line = int(np.searchsorted(self.bounds, led, "right")) - 1
        return line, led - int(self.bounds[line])

    @cached_property
    def led_of(self) -> Array:
        """LED of each cell (rows, columns), -1 in gaps."""
        grid = np.full((self.rows, self.columns), -1)
        grid[self.cells[:, 1], self.cells[:, 0]] = np.arange(self.leds)
        return grid

    def light(self, codes: Array) -> Array:
        """What `[canvas]` asks for: light 0 to 1 of codes 0 to 255, the last axis red to blue."""
        v = np.asarray(codes, float) / 255
        curved = CURVES[self.curve](v) if isinstance(self.curve, str) else v**self.curve
        return curved * np.array(self.white) * self.brightness

    def drives(self, codes: Array) -> Array:
        return np.rint(self.light(codes) * 255).astype(int)

    def gather(self, picture: Array, cells: Array | None = None) -> Array:
        """The codes (N, 3) of the LEDs, in wire order; a cell outside the grid is black."""
        cells = self.cells if cells is None else cells
        column, row = cells[:, 0], cells[:, 1]
        inside = (column >= 0) & (column < self.columns) & (row >= 0) & (row < self.rows)
        out = np.zeros((len(cells), 3), picture.dtype)
        out[inside] = picture[row[inside], column[inside]]
        return out

    def frames(self, drives: Array, intensity: int = 31) -> list[bytes]:
        """Bytes of each line for drives (N, 3) or (N, 4) in the order red, green, blue, white."""
        drives = np.clip(drives, 0, 255).astype(np.uint8)
        if drives.shape[1] == 3 and "W" in self.order:
            drives = np.hstack([drives, np.zeros((len(drives), 1), np.uint8)])
        wire = drives[:, ["RGBW".index(letter) for letter in self.order]]
        lines = [wire[a:b] for a, b in pairwise(self.bounds)]
        if self.part != "APA102":
            return [line.tobytes() for line in lines]
        head = np.uint8(0xE0 | intensity)
        return [
            bytes(4)
            + np.hstack([np.full((len(line), 1), head, np.uint8), line]).tobytes()
            + b"\xff" * (4 + len(line) // 16)
            for line in lines
        ]

    def right(self, picture: Array) -> bytes:
        """Right code."""
        return b"".join(self.frames(self.drives(self.gather(picture))))


WALLS = {
    wall.name: wall
    for wall in (
        Wall("square", 24, 24),
        Wall("plain", 15, 10, part="WS2811-HIGH", order="RGB", path="progressive", along="columns"),
        Wall(
            "rgbw", 12, 12, part="SK6812-RGBW", order="GRBW", start="bottom-left", along="columns"
        ),
        Wall("clocked", 16, 8, part="APA102", order="BGR", start="top-right"),
        Wall("small", 8, 4),
        Wall("large", 60, 40, lines=4, start="bottom-right"),
        Wall("foyer", 36, 20, part="WS2812B-V5", lines=2, gaps=((17, 9, 2, 2),)),
        Wall("two", 20, 12, lines=2),
        Wall("declared", 16, 10, curve=2.2, white=(1.0, 0.8, 0.6), brightness=0.5),
        Wall("dithered", 16, 10, dither=True),
    )
}
