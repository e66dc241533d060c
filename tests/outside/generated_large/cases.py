"""Large walls drawn by number, and code for them that is right, or wrong at one place."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

HIDDEN = (-1, -1)
# part: order on the wire, µs an LED (a bit 1.25 µs, 2.5 µs, or 1 µs of a clock), rest in µs
CHIPS = {
    "WS2812B": ("GRB", 30, 50), "WS2815": ("GRB", 30, 280), "SK6812-RGBW": ("GRBW", 40, 80),
    "WS2811-LOW": ("RGB", 60, 50), "WS2801": ("RGB", 24, 500), "APA102": ("IBGR", 33, 100),
}  # fmt: skip
OF_MAP = ("right", "exchanged", "reversed", "shifted", "twice")
KINDS = (*OF_MAP, "half", "leak", "dead", "single", "alone")
CODE = """
import numpy as np

CELLS, LINES = np.load("leds.npz").values()
KIND, ONE, OTHER, CHANNEL, ORDER = {given!r}
V = np.arange(256) / 255  # IEC 61966-2-1
LEVELS = np.round(255 * np.where(V <= 0.04045, V / 12.92, ((V + 0.055) / 1.055) ** 2.4))

def to_wire(picture):
    lit = np.argwhere(picture.any(axis=2))
    drives = LEVELS.astype(np.uint8)[picture[CELLS[:, 1], CELLS[:, 0]]]
    drives[CELLS[:, 0] < 0] = 0
    if KIND == "half":
        drives[ONE] //= 2
    elif KIND == "dead":
        drives[ONE, CHANNEL] = 0
    elif KIND == "leak":
        mean = drives[OTHER] // 4 * 3 + drives[ONE] // 4
        drives[OTHER] = mean if CHANNEL else np.maximum(drives[OTHER], drives[ONE] // 2)
    elif KIND == "alone" and len(lit) == 1 and (lit[0][::-1] == CELLS[ONE]).all():
        drives[ONE] = 0
    elif KIND == "single" and len(lit) == 1:
        drives = np.roll(drives, 1, axis=0)
    bytes_of = dict(zip("RGB", drives.T), W=0 * drives[:, 0], I=0 * drives[:, 0] + 255)
    wire = np.stack([bytes_of[letter] for letter in ORDER], axis=1)
    if "I" not in ORDER: return wire.tobytes()
    parts = [wire[LINES == line] for line in range(LINES.max() + 1)]
    return b"".join(bytes(4) + p.tobytes() + bytes((len(p) + 15) // 16) for p in parts)
"""


@dataclass(frozen=True)
class Case:
    """A wall of N LEDs, and what the user's code does with it."""

    kind: str
    cells: NDArray[np.int64]  # (N, 2) column, row of each LED; -1 of a hidden one
    shown: NDArray[np.int64]  # (N, 2) the cell that each shows
    lines: NDArray[np.int64]  # (N,)
    one: int  # the LED that is wrong, or the first
    other: int
    options: tuple[str, ...]  # of `foreglow check`

    def csv(self, cells: NDArray[np.int64]) -> str:
        """These cells as a map file."""
        led = np.arange(len(cells)) - np.searchsorted(self.lines, self.lines)
        table = np.column_stack([self.lines, led, cells]).tolist()
        return "line,led,column,row\n" + "".join(f"{a},{b},{c},{d}\n" for a, b, c, d in table)


def case(rng: np.random.Generator, leds: int, kind: str, folder: Path) -> Case:
    """Write a wall of about so many LEDs, and code of this kind, into a folder."""
    rows = int(np.sqrt(leds) * rng.uniform(0.4, 1.6))
    columns = leds // rows
    gaps = [_gap(rng, columns, rows) for _ in range(rng.integers(0, 4))]
    gone = {(c, r): g[4] for g in gaps for c in range(*g[:2]) for r in range(*g[2:4])}
    along, path, way = (
        str(rng.choice(words))
        for words in (("rows", "columns"), ("serpentine", "progressive"), ("words", "runs", "map"))
    )
    across, deep = (columns, rows) if along == "rows" else (rows, columns)
    even = [n for n in range(1, min(60, deep) + 1) if way != "words" or deep % n == 0]
    count = int(rng.choice(even))
    first, between, last = (int(n) for n in rng.choice([0, 0, 1, 3], 3))
    leds_of, runs = [], ""  # (cell, line, strip) of each LED
    for line, block in enumerate(np.array_split(np.arange(deep), count)):
        runs += "[[line]]\n"
        for turn, strip in enumerate(block.tolist()):
            places = range(across)[:: -1 if path == "serpentine" and turn % 2 else 1]
            run = [(n, strip) if along == "rows" else (strip, n) for n in places]
            run = [c for c in run if c not in gone or (way == "words" and gone[c])]
            ahead = (0 if way == "runs" else between) if turn else first
            behind = last if turn == len(block) - 1 or way == "runs" else 0
            cells = [HIDDEN] * ahead + run + [HIDDEN] * behind
            leds_of += [(HIDDEN if c in gone else c, line, strip) for c in cells]
            runs += f"[[line.run]]\nfrom = {list(run[0])}\nto = {list(run[-1])}\n"
            runs += f"hidden_first = {ahead}\nhidden_last = {behind}\n"
    cells, lines, strips = (np.array(values) for values in zip(*leds_of, strict=True))
    seen = np.flatnonzero(cells[:, 0] >= 0)
    one, other = (int(n) for n in rng.choice(seen, 2, replace=False))
    shown = cells.copy()
    if kind == "exchanged":
        shown[[one, other]] = cells[[other, one]]
    elif kind == "twice":
        shown[one] = cells[other]
    elif kind == "reversed":
        strip = seen[strips[seen] == strips[one]]
        shown[strip] = cells[strip[::-1]]
    elif kind == "shifted":
        line = np.flatnonzero(lines == lines[one])
        shown[line] = np.roll(cells[line], 1, axis=0)
    by_map = kind in OF_MAP and rng.integers(2)
    options = ("--map", "theirs.csv") if by_map else ("--call", "theirs:to_wire")
    made = Case(kind, cells, shown, lines, one, other, options)

    part = str(rng.choice(list(CHIPS)))
    order, led_us, rest_us = CHIPS[part]
    rate = min(60.0, 0.7e6 / (np.bincount(lines).max() * led_us + rest_us))
    toml = f"[grid]\ncolumns = {columns}\nrows = {rows}\n"
    for left, right, top, bottom, hidden in gaps:
        toml += f"[[grid.gaps]]\ncolumn = {left}\nrow = {top}\ncolumns = {right - left}\n"
        toml += f"rows = {bottom - top}\n" + "hidden_leds = true\n" * (hidden and way == "words")
    toml += f'[chip]\npart = "{part}"\n[controller]\nframe_rate = {rate:.3f}\n'
    words = f'[wiring]\nalong = "{along}"\npath = "{path}"\nlines = {count}\nhidden_first = '
    words += f"{first}\nhidden_between = {between}\nhidden_last = {last}\n"
    ways = {"words": words, "runs": runs, "map": '[wiring]\nmap = "wired.csv"\n'}
    (folder / "wall.toml").write_text(toml + ways[way])
    (folder / "wired.csv").write_text(made.csv(cells))
    (folder / "theirs.csv").write_text(made.csv(shown))
    np.savez(folder / "leds.npz", cells=shown, lines=lines)
    code = CODE.format(given=(kind, one, other, int(rng.integers(3)), order))
    (folder / "theirs.py").write_text(code)
    return made


def _gap(rng: np.random.Generator, columns: int, rows: int) -> tuple[int, int, int, int, bool]:
    """Left, right, top, bottom of a gap that leaves both ends of all strips; whether LEDs go on."""
    left, top = int(rng.integers(1, columns - 1)), int(rng.integers(1, rows - 1))
    right = int(rng.integers(left + 1, min(columns, left + 2 + columns // 5)))
    bottom = int(rng.integers(top + 1, min(rows, top + 2 + rows // 5)))
    return left, right, top, bottom, bool(rng.integers(2))
