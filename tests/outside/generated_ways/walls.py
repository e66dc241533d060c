"""Walls with any wiring and hidden LEDs, their maps and bytes, from the words of the display file.

The chips' times are those of their datasheets, as `foreglow chips` prints them: least and most of
0 high, 0 low, 1 high, 1 low in ns, the nominal bit, and the rest that latches. The bytes follow the
datasheets: one-wire chips take the channels in their order; APA102 and SK9822 32 zero bits, 0b111
and five bits of intensity, blue, green, red, 32 bits or half a clock an LED at the end; WS2801
plain bytes; LPD8806 seven bits below a high one, and a zero byte for each 32 LEDs.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from tests.outside.generated.walls import CURVES, Array

Cell = tuple[int, int]
HIDDEN = (-1, -1)

ONE_WIRE = {  # T0H, T0L, T1H, T1L as (least, most) in ns; the rest in µs
    "WS2812B": ((250, 550), (700, 1000), (650, 950), (300, 600), 50),
    "WS2812B-V5": ((220, 380), (580, 1000), (580, 1000), (220, 420), 280),
    "WS2813B": ((300, 450), (300, 100_000), (750, 1000), (300, 100_000), 300),
    "SK6812": ((150, 450), (750, 1050), (450, 750), (450, 750), 80),
    "SK6812-RGBW": ((150, 450), (750, 1050), (450, 750), (450, 750), 80),
    "WS2811-LOW": ((350, 650), (1850, 2150), (1050, 1350), (1150, 1450), 50),
    "WS2811-HIGH": ((100, 400), (850, 1150), (450, 750), (500, 800), 50),
    "WS2815": ((220, 380), (580, 1000), (580, 1000), (220, 420), 280),
}
ORDERS = {"WS2811-LOW": "RGB", "WS2811-HIGH": "RGB", "WS2801": "RGB", "SK6812-RGBW": "GRBW"}
NOMINAL_US = {"WS2812B": 1.25, "SK6812": 1.2, "SK6812-RGBW": 1.2, "WS2811-LOW": 2.5,
              "WS2811-HIGH": 1.25}  # 1 bit: the middles of the ranges above  # fmt: skip


@dataclass(frozen=True)
class Wall:
    """A wall: the cell of each LED on each line (HIDDEN for none), and its display file."""

    name: str
    columns: int
    rows: int
    part: str
    order: str
    wired: tuple[tuple[Cell, ...], ...]
    toml: str
    files: dict[str, str] = field(default_factory=dict)
    linear: bool = False  # code values are drives
    gaps: tuple[tuple[int, int, int, int], ...] = ()

    @property
    def lines(self) -> int:
        return len(self.wired)

    @cached_property
    def cells(self) -> Array:
        """Column and row (N, 2) of all LEDs, line after line."""
        return np.array([c for line in self.wired for c in line])

    @property
    def leds(self) -> int:
        return len(self.cells)

    @cached_property
    def hidden(self) -> Array:
        """Which LEDs have no cell (N,)."""
        return np.asarray(self.cells[:, 0] < 0)

    @cached_property
    def bounds(self) -> Array:
        """First LED of each line, and one past the last."""
        return np.cumsum([0] + [len(line) for line in self.wired])

    @cached_property
    def runs(self) -> list[Array]:
        """Not judged here: a run may have been written in pieces."""
        return []

    @property
    def channels(self) -> int:
        return 4 if "W" in self.order else 3

    def names(self, led: int) -> tuple[int, int]:
        """Line and place on the line of an LED."""
        line = int(np.searchsorted(self.bounds, led, "right")) - 1
        return line, led - int(self.bounds[line])

    def gather(self, picture: Array, cells: Array | None = None) -> Array:
        """Drives (N, 3) of red, green, blue, 0 for hidden LEDs."""
        cells = self.cells if cells is None else cells
        inside = (cells >= 0).all(axis=1)
        inside &= (cells[:, 0] < self.columns) & (cells[:, 1] < self.rows)
        codes = np.zeros((len(cells), 3), int)
        codes[inside] = picture[cells[inside, 1], cells[inside, 0]]
        if self.linear:
            return codes
        return np.rint(CURVES["sRGB"](codes / 255) * 255).astype(int)

    def payload(self, drives: Array) -> list[bytes]:
        """What goes to the chips of each line, in wire order."""
        if self.channels == 4:
            drives = np.hstack([drives, np.zeros((len(drives), 1), int)])
        wire = drives[:, ["RGBW".index(c) for c in self.order]].astype(np.uint8)
        return [framed(self.part, wire[a:b]) for a, b in zip(self.bounds, self.bounds[1:])]  # noqa: B905

    def right(self, picture: Array) -> bytes:
        return b"".join(self.payload(self.gather(picture)))


def framed(part: str, wire: Array) -> bytes:
    """The bytes for the LEDs of one line (n, channels)."""
    if part in ("APA102", "SK9822"):
        head = np.full((len(wire), 1), 0xFF, np.uint8)
        body = np.hstack([head, wire]).astype(np.uint8).tobytes()
        return bytes(4) + body + bytes(max(4, -(-len(wire) // 16)))
    if part == "LPD8806":
        body = (0x80 | np.rint(wire / 255 * 127).astype(np.uint8)).tobytes()
        return body + bytes(-(-len(wire) // 32))
    return wire.tobytes()


@dataclass(frozen=True)
class Hiding:
    """Where LEDs are hidden."""

    first: int = 0
    between: int = 0
    last: int = 0
    in_gap: bool = False

    @property
    def any(self) -> bool:
        return bool(self.first or self.between or self.last or self.in_gap)


def _head(columns: int, rows: int, part: str, order: str, gap: tuple[int, ...], hiding: Hiding,
          linear: bool, extra: str) -> str:  # fmt: skip
    text = f"[grid]\ncolumns = {columns}\nrows = {rows}\n"
    if gap:
        c, r, w, h = gap
        inside = ", hidden_leds = true" if hiding.in_gap else ""
        text += f"gaps = [{{ column = {c}, row = {r}, columns = {w}, rows = {h}{inside} }}]\n"
    text += f'[chip]\npart = "{part}"\n'
    if part not in ("APA102", "SK9822"):
        text += f'order = "{order}"\n'
    return text + ("[canvas]\ncurve = 1\n" if linear else "") + extra


def draw(
    rng: np.random.Generator,
    part: str = "",
    style: str = "",
    hiding: Hiding | None = None,
    size: tuple[int, int] | None = None,
    lines: int = 0,
    extra: str = "",
    linear: bool | None = None,
) -> Wall:
    """A wall at random; what is given is so."""
    hiding = hiding or Hiding()
    part = part or str(rng.choice(["WS2812B", "SK6812", "SK6812-RGBW", "WS2811-HIGH", "APA102"]))
    order = ORDERS.get(part, "GRB")
    if part in ("APA102", "SK9822"):
        order = "BGR"
    elif rng.random() < 0.5:
        order = "".join(rng.permutation(list(order)))
    columns, rows = size or (int(rng.integers(4, 13)), int(rng.integers(3, 9)))
    linear = bool(rng.random() < 0.4) if linear is None else linear
    style = style or str(rng.choice(["words", "runs", "map"]))
    gap: tuple[int, ...] = ()
    if hiding.in_gap or (columns > 4 and rows > 3 and size is None and rng.random() < 0.4):
        gap = (int(rng.integers(1, columns - 2)), int(rng.integers(1, rows - 1)), 2, 1)
    start = str(rng.choice(["top-left", "top-right", "bottom-left", "bottom-right"]))
    along = str(rng.choice(["rows", "columns"]))
    path = str(rng.choice(["serpentine", "progressive"]))
    outer, inner = list(range(rows)), list(range(columns))
    if "bottom" in start:
        outer.reverse()
    if "right" in start:
        inner.reverse()
    if along == "columns":
        outer, inner = inner, outer
    lines = lines or int(rng.integers(1, 4))
    if style == "words" and len({len(b) for b in np.array_split(outer, lines)}) > 1:
        lines = 1  # "in blocks" does not say which of them is longer
    blocks = [b.tolist() for b in np.array_split(outer, min(lines, len(outer)))]

    def is_gap(c: int, r: int) -> bool:
        return bool(gap) and gap[0] <= c < gap[0] + gap[2] and gap[1] <= r < gap[1] + gap[3]

    wired, runs_text = [], ""
    for block in blocks:
        line: list[Cell] = []
        runs_text += "[[line]]\n"
        for n, o in enumerate(block):
            way = inner[::-1] if path == "serpentine" and n % 2 else inner
            if style == "runs" and rng.random() < 0.3:
                way = way[::-1]
            strip = [(i, o) if along == "rows" else (o, i) for i in way]
            before = hiding.first if n == 0 else hiding.between
            after = hiding.last if n == len(block) - 1 else 0
            shown = [HIDDEN if is_gap(*c) else c for c in strip]
            if not hiding.in_gap:
                shown = [c for c in shown if c != HIDDEN]
            line += [HIDDEN] * before + shown + [HIDDEN] * after
            ends = f"from = {list(strip[0])}\nto = {list(strip[-1])}\n"
            runs_text += f"[[line.run]]\n{ends}hidden_first = {before}\nhidden_last = {after}\n"
        wired.append(tuple(line))
    text = _head(columns, rows, part, order, gap, hiding, linear, extra)
    files = {}
    if style == "words":
        text += (
            f'[wiring]\nstart = "{start}"\nalong = "{along}"\npath = "{path}"\n'
            f"lines = {len(blocks)}\nhidden_first = {hiding.first}\n"
            f"hidden_between = {hiding.between}\nhidden_last = {hiding.last}\n"
        )
    elif style == "runs":
        text += runs_text
    else:
        text += '[wiring]\nmap = "wiring.csv"\n'
        if hiding.in_gap:
            text = text.replace(", hidden_leds = true", "")
        rows_of = [f"{n},{k},{c},{r}" for n, line in enumerate(wired)
                   for k, (c, r) in enumerate(line)]  # fmt: skip
        files["wiring.csv"] = "line,led,column,row\n" + "\n".join(rows_of) + "\n"
    name = f"{columns}×{rows} {part} {order}, {len(wired)} lines, {style} {start} {along} {path}"
    return Wall(name, columns, rows, part, order, tuple(wired), text, files, linear,
                (gap,) if gap else ())  # fmt: skip
