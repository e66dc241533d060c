"""A wall as planned: a display file drawn by chance, from the documents of its keys."""

from dataclasses import dataclass, field

import numpy as np

PARTS = ("WS2812B", "WS2811-LOW", "SK6812-RGBW", "WS2815", "APA102")


@dataclass(frozen=True)
class Wall:
    """A plan: cells, rectangles (column, row, columns, rows) without LEDs, and how strips run."""

    columns: int
    rows: int
    gaps: tuple[tuple[int, int, int, int], ...] = ()
    part: str = "WS2812B"
    start: str = "top-left"
    along: str = "rows"
    path: str = "serpentine"
    lines: int = 1
    pitch: float = 33.333
    row_pitch: float | None = None
    extra: str = field(default="", repr=False)

    @property
    def text(self) -> str:
        """The display file."""
        gaps = "".join(
            f"[[grid.gaps]]\ncolumn = {c}\nrow = {r}\ncolumns = {w}\nrows = {h}\n\n"
            for c, r, w, h in self.gaps
        )
        rows = f"row_pitch_mm = {self.row_pitch}\n" if self.row_pitch else ""
        return (
            f"[grid]\ncolumns = {self.columns}\nrows = {self.rows}\n"
            f"pitch_mm = {self.pitch}\n{rows}\n{gaps}"
            f'[chip]\npart = "{self.part}"\n\n'
            f'[wiring]\nstart = "{self.start}"\nalong = "{self.along}"\n'
            f'path = "{self.path}"\nlines = {self.lines}\n'
            f"{self.extra}"
        )

    @property
    def stretch(self) -> float:
        """Row pitch over column pitch."""
        return (self.row_pitch or self.pitch) / self.pitch


def drawn(rng: np.random.Generator, *, small: bool = False) -> Wall:
    """A wall by chance, 3 × 3 to 40 × 25; `small` ones have at most 14 × 10 cells."""
    most_columns, most_rows = (14, 10) if small else (40, 25)
    columns, rows = int(rng.integers(3, most_columns + 1)), int(rng.integers(3, most_rows + 1))
    gaps = []
    if columns >= 7 and rows >= 6 and rng.random() < 0.5:
        width, height = int(rng.integers(1, columns // 3 + 1)), int(rng.integers(1, rows // 3 + 1))
        gaps.append(
            (
                int(rng.integers(0, columns - width)),
                int(rng.integers(1, rows - height)),
                width,
                height,
            )
        )
    along = str(rng.choice(["rows", "columns"]))
    strips = rows if along == "rows" else columns
    return Wall(
        columns,
        rows,
        tuple(gaps),
        part=str(rng.choice(PARTS)),
        start=str(rng.choice(["top-left", "top-right", "bottom-left", "bottom-right"])),
        along=along,
        path=str(rng.choice(["serpentine", "progressive"])),
        lines=int(rng.integers(1, min(4, strips) + 1)) if rng.random() < 0.4 else 1,
        row_pitch=50.0 if rng.random() < 0.15 else None,
    )
