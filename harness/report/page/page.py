"""What a page holds: the verdict, findings with their places, films, charts, tables, the record."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from emulator.arrays import Floats
from emulator.description.display import Display
from harness.report.page.film import Film
from harness.result.finding import Finding
from harness.result.result import Verdict

# Beside the words: colour is never the only sign.
MARKS: dict[Verdict, str] = {"fail": "✗", "warning": "!", "cannot tell": "?", "pass": "✓"}


@dataclass(frozen=True, eq=False)
class Found:
    """A finding and the LEDs to mark on the drawing of the wall.

    leds: positions in the arrays of the display; none if the finding is not about single LEDs.
    seen_in: (film, picture of it), both by number, that shows it best; None if none does.
    """

    finding: Finding
    leds: tuple[int, ...] = ()
    seen_in: tuple[int, int] | None = None


@dataclass(frozen=True, eq=False)
class Series:
    """One curve. x, y: (T,) of any unit; step: each value stays until the next one."""

    name: str
    x: Floats
    y: Floats
    step: bool = False


@dataclass(frozen=True, eq=False)
class Chart:
    """Curves over one axis.

    x_unit, y_unit: what stands at the axes. limits: (value, label) of horizontal lines. marks:
    (x, label) of moments. spans: (from, to, label) of stretches. zero: whether y begins at 0.
    """

    title: str
    x_unit: str
    y_unit: str
    series: Sequence[Series]
    limits: Sequence[tuple[float, str]] = ()
    marks: Sequence[tuple[float, str]] = ()
    spans: Sequence[tuple[float, float, str]] = ()
    zero: bool = True


@dataclass(frozen=True)
class Table:
    """Rows of text under headings. numbers: columns, from 0, to align to the right."""

    title: str
    headings: Sequence[str]
    rows: Sequence[Sequence[str]]
    numbers: Sequence[int] = ()
    note: str = ""


@dataclass(frozen=True, eq=False)
class Section:
    """A part of the page with a heading of its own: text, tables and charts.

    note: a sentence below the heading. text: lines for copying, at the end.
    """

    title: str
    tables: Sequence[Table] = ()
    charts: Sequence[Chart] = ()
    note: str = ""
    text: str = ""


@dataclass(frozen=True, eq=False)
class Failed:
    """A failed test: its id, its message, the command that runs it again, and its pictures.

    films: what was expected and shown, as `Film.packed` makes them. images: (label, PNG). letters:
    the pictures as text. cell: number of the cell that the message names, -1 for none.
    """

    test: str
    facts: str
    message: str
    command: str
    letters: str = ""
    films: Sequence[dict[str, Any]] = ()
    images: Sequence[tuple[str, bytes]] = ()
    cell: int = -1


@dataclass(frozen=True, eq=False)
class Page:
    """Everything that one page shows.

    kind: of the run, such as 'check'. verdict: of all; sentence: the same in words. facts: of the
    display and what was tried. walls: the drawings of the displays, see `wall_layout`. films: of
    the first wall. failed: tests, each with the number of its wall. volts: (N,) lowest voltage at
    each LED of the first wall. record: (name, text) of what allows to repeat the run. file: text
    of the display file.
    """

    kind: str
    title: str
    verdict: Verdict
    sentence: str
    facts: str
    walls: Sequence[dict[str, Any]]
    found: Sequence[Found] = ()
    sections: Sequence[Section] = ()
    films: Sequence[Film] = ()
    failed: Sequence[tuple[Failed, int]] = ()
    caution: str = ""
    volts: Floats | None = None
    record: Sequence[tuple[str, str]] = field(default=())
    file: str = ""


def wall_layout(display: Display) -> dict[str, Any]:
    """The map of a display as JSON types, for the script of the page.

    line, led, cell: of each LED; cell is -1 for a hidden one. pitch: width of a cell over its
    height.
    """
    wiring, (across, down) = display.wiring, display.grid.pitches_mm
    return {
        "name": display.name,
        "columns": display.grid.columns,
        "rows": display.grid.rows,
        "pitch": round(across / down, 4),
        "lines": list(wiring.line_names),
        "line": wiring.line.tolist(),
        "led": wiring.led.tolist(),
        "cell": np.asarray(wiring.cell).tolist(),
    }
