"""A wall at random, and what follows from its display file by counting."""

from __future__ import annotations

import random
from dataclasses import dataclass, field


@dataclass
class Wall:
    """Words of a display file; gaps: (column, row, columns, rows); strips go on `through` some."""

    columns: int
    rows: int
    pitch: float
    along: str
    path: str
    start: str
    lines: int
    clocked: bool
    reel: int
    first: int
    front: bool
    power_jumper: bool
    strip_per_m: float
    loop: float
    walls: str
    camera: bool
    feeds: list[int] = field(
        default_factory=list
    )  # first LEDs of runs of line 0; empty: the default
    gaps: list[tuple[int, int, int, int]] = field(default_factory=list)
    through: list[bool] = field(default_factory=list)

    def open_at(self, column: int, row: int) -> bool:
        """Whether a gap without strip is there."""
        return any(
            c <= column < c + w and r <= row < r + h and not on
            for (c, r, w, h), on in zip(self.gaps, self.through, strict=True)
        )

    def runs(self) -> list[tuple[int, list[tuple[int, int]]]]:
        """(line, cells in the order of the data) of each run; a gap without strip ends a run."""
        rows = self.along == "rows"
        strips, length = (self.rows, self.columns) if rows else (self.columns, self.rows)
        right, down = "right" in self.start, "bottom" in self.start
        last, back = (down, right) if rows else (right, down)
        found = []
        for k in range(strips):
            line, place = divmod(k, strips // self.lines)
            strip = strips - 1 - k if last else k
            turned = back ^ (self.path == "serpentine" and place % 2 == 1)
            cells: list[tuple[int, int]] = []
            for i in range(length - 1, -1, -1) if turned else range(length):
                cell = (i, strip) if rows else (strip, i)
                if self.open_at(*cell):
                    if cells:
                        found.append((line, cells))
                    cells = []
                else:
                    cells.append(cell)
            if cells:
                found.append((line, cells))
        return found

    def lengths(self) -> list[int]:
        """LEDs of each run, with the hidden ones before the first cell of a line."""
        seen: set[int] = set()
        counts = []
        for line, cells in self.runs():
            counts.append(len(cells) + (0 if line in seen else self.first))
            seen.add(line)
        return counts

    def text(self) -> str:
        """The display file."""
        put = [
            f"[grid]\ncolumns = {self.columns}\nrows = {self.rows}\npitch_mm = {self.pitch}",
            *(
                f"[[grid.gaps]]\ncolumn = {c}\nrow = {r}\ncolumns = {w}\nrows = {h}"
                f"\nhidden_leds = {str(on).lower()}"
                for (c, r, w, h), on in zip(self.gaps, self.through, strict=True)
            ),
            f'[chip]\npart = "{"APA102" if self.clocked else "WS2812B"}"',
            f'[wiring]\nstart = "{self.start}"\nalong = "{self.along}"\npath = "{self.path}"'
            f"\nlines = {self.lines}\nreel_leds = {self.reel}\nhidden_first = {self.first}",
            f'[cover]\nwalls = "{self.walls}"',
            f'[board]\nwires = "{"front" if self.front else "back"}"\nservice_loop_mm = {self.loop}'
            f"\nstrip_leds_per_m = {self.strip_per_m}",
        ]
        if self.camera:
            put.append("[camera]\nbehind_mm = 5\nfield_deg = 40")
        put += [f"[[power.feed]]\nawg = 18\nled = {led}" for led in self.feeds]
        if self.power_jumper:
            put.append("[power.jumper]\nawg = 18")
        return "\n\n".join(put) + "\n"


def wall(number: int) -> Wall:
    """The wall of this number."""
    r = random.Random(f"bench {number}")
    kind = r.choices(("tiny", "usual", "large"), (2, 8, 1))[0]
    if kind == "tiny":
        columns, rows = r.choice(((1, r.randint(1, 9)), (r.randint(1, 9), 1)))
    else:
        most = 14 if kind == "usual" else 40
        columns, rows = r.randint(2, most), r.randint(2, most)
    along = r.choice(("rows", "columns"))
    strips = rows if along == "rows" else columns
    pitch = r.choice((10.0, 16.6667, 25.0, 33.3333, 40.0))
    made = Wall(
        columns=columns, rows=rows, pitch=pitch, along=along,
        path=r.choice(("serpentine", "progressive")),
        start=r.choice(("top-left", "top-right", "bottom-left", "bottom-right")),
        lines=r.choice([n for n in range(1, 5) if strips % n == 0]),
        clocked=r.random() < 0.3, reel=r.choice((5, 30, 60, 150)),
        first=r.choice((0, 0, 1)), front=r.random() < 0.3, power_jumper=r.random() < 0.2,
        strip_per_m=r.choice((1000 / pitch, 1000 / pitch, 1010 / pitch)),
        loop=r.choice((0.0, 20.0, 50.0)), walls=r.choice(("black", "white", "none")), camera=False,
    )  # fmt: skip
    if min(columns, rows) >= 6 and r.random() < 0.6:
        made.gaps = [(r.randint(1, 2), r.randint(1, 2), r.randint(1, 2), r.randint(1, 2))]
        if r.random() < 0.5:
            made.gaps.append((columns - 1, rows - 1, 1, 1))
        made.through = [r.random() < 0.2 for _ in made.gaps]
        made.camera = not made.through[0] and r.random() < 0.6
    if made.lines == 1 and r.random() < 0.3:
        made.power_jumper, made.feeds = True, [0]  # without it the other runs have no power
    return made
