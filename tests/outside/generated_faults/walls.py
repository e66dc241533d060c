"""Walls at random, as text of a display file; and the facts of chips that predictions need.

Times are of the datasheets that `foreglow chips --sources` names: nominal high of a 0 and of a 1,
most high of a 0, least high of a 1, in ns; and the rest that latches in µs.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

import numpy as np

import emulator

ONE_WIRE = {
    "WS2812B": (400, 800, 550, 650, 50),
    "WS2812B-V5": (300, 850, 380, 580, 280),
    "WS2813B": (400, 800, 450, 750, 300),
    "SK6812": (300, 600, 450, 450, 80),
    "SK6812-RGBW": (300, 600, 450, 450, 80),
    "WS2811-LOW": (500, 1200, 650, 1050, 50),
    "WS2811-HIGH": (250, 600, 400, 450, 50),
}
ORDERS = {
    "WS2811-LOW": "RGB",
    "WS2811-HIGH": "RGB",
    "WS2801": "RGB",
    "SK6812-RGBW": "GRBW",
    "APA102": "IBGR",
    "SK9822": "IBGR",
}
CLOCKED = ("APA102", "SK9822", "WS2801", "LPD8806")


def order_of(part: str) -> str:
    return ORDERS.get(part, "GRB")


@dataclass
class Wall:
    """A wall: its file, and the order of the channels of its chips."""

    part: str
    order: str
    text: str
    solid: bool  # no gaps, no hidden LEDs
    extra: list[str] = field(default_factory=list)

    @cached_property
    def display(self) -> emulator.Display:
        return emulator.parse_display(self.text, Path("wall.toml"))

    @cached_property
    def lines(self) -> list[list[int]]:
        """The LEDs of each line, as numbers over all lines."""
        line = self.display.wiring.line
        return [np.flatnonzero(line == n).tolist() for n in range(int(line.max()) + 1)]

    @cached_property
    def runs(self) -> list[list[int]]:
        """The LEDs of each run, numbered as `foreglow map` does."""
        run = self.display.wiring.run
        return [np.flatnonzero(run == n).tolist() for n in range(int(run.max()) + 1)]

    def line_of(self, led: int) -> int:
        return int(self.display.wiring.line[led])

    @property
    def channels(self) -> str:
        return "RGBW" if "W" in self.order else "RGBI" if "I" in self.order else "RGB"


def draw(rng: np.random.Generator, parts: tuple[str, ...] = (), extra: str = "") -> Wall:
    """A wall at random, of one of these parts."""
    part = str(rng.choice(list(parts or (*ONE_WIRE, *CLOCKED))))
    order = order_of(part)
    if "I" not in order and rng.random() < 0.4:
        order = "".join(rng.permutation(list(order)))
    columns, rows = int(rng.integers(2, 9)), int(rng.integers(2, 7))
    text = f"[grid]\ncolumns = {columns}\nrows = {rows}\n"
    gaps = columns > 4 and rows > 3 and rng.random() < 0.3
    if gaps:
        hidden = str(bool(rng.random() < 0.5)).lower()
        text += (
            f"gaps = [{{ column = 1, row = 1, columns = 2, rows = 2, hidden_leds = {hidden} }}]\n"
        )
    text += f'[chip]\npart = "{part}"\n' + (f'order = "{order}"\n' if "I" not in order else "")
    hides = rng.random() < 0.25
    if rng.random() < 0.7:
        start = rng.choice(["top-left", "top-right", "bottom-left", "bottom-right"])
        along, path = rng.choice(["rows", "columns"]), rng.choice(["serpentine", "progressive"])
        text += f'[wiring]\nstart = "{start}"\nalong = "{along}"\npath = "{path}"\n'
        text += f"lines = {int(rng.integers(1, 3))}\n"
        if hides:
            text += "hidden_first = 1\nhidden_between = 1\nhidden_last = 2\n"
    else:
        rows_left = list(rng.permutation(rows))
        while rows_left:
            text += "[[line]]\n"
            for _ in range(min(int(rng.integers(1, 4)), len(rows_left))):
                r = rows_left.pop()
                ends = [[0, int(r)], [columns - 1, int(r)]]
                if rng.random() < 0.5:
                    ends.reverse()
                text += f"[[line.run]]\nfrom = {ends[0]}\nto = {ends[1]}\n"
                if hides and rng.random() < 0.5:
                    text += f"hidden_first = {int(rng.integers(0, 3))}\n"
    return Wall(part, order, text + extra, not gaps and not hides)


def drives(rng: np.random.Generator, wall: Wall, frames: int) -> np.ndarray:
    """Random drives (T, N, C) in the order of `wall.channels`; of seven bits where a chip is."""
    n = len(wall.display.wiring)
    made = rng.integers(0, 256, (frames, n, len(wall.channels)))
    if wall.part == "LPD8806":
        made = (made >> 1 << 1) | (made >> 7)
    if "I" in wall.channels:
        made[..., 3] = rng.integers(1, 32, made.shape[:2])
    return made.astype(np.uint8)
