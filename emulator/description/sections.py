"""The sections of a display file, as pydantic models: the schema, the defaults, the limits."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Any, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, model_validator

from emulator.description.board import BoardSection
from emulator.description.camera import Camera
from emulator.description.canvas import CanvasSection
from emulator.description.light import Cover, View
from emulator.description.ownchip import ChipSection
from emulator.description.power import PowerSection
from emulator.description.section import Contradiction, Section, Words
from emulator.description.wiring import Along, Corner, Path

MOST_COLUMNS = 4096
MOST_CELLS = 1 << 20
MOST_LINES = 4096
MOST_HIDDEN = 100  # in a row

Side = Annotated[int, Field(ge=1, le=MOST_COLUMNS)]
Place = Annotated[int, Field(ge=0, lt=MOST_COLUMNS)]
Hidden = Annotated[int, Field(ge=0, le=MOST_HIDDEN)]
Millimetres = Annotated[float, Field(ge=0.5, le=2_000, allow_inf_nan=False)]


class Gap(Section):
    """A rectangle of cells that show nothing: a speaker, a hatch, a door, a corner of the frame."""

    column: Place = Field(description="leftmost column of the gap, from 0")
    row: Place = Field(description="top row of the gap, from 0")
    columns: Side = Field(1, description="how many columns wide")
    rows: Side = Field(1, description="how many rows high")
    hidden_leds: bool = Field(
        False, description="the strips go on through it: their LEDs there are hidden, stay dark"
    )


class Grid(Section):
    """The cells, seen from the front: columns run right, rows run down, both from 0."""

    columns: Side = Field(description="cells across")
    rows: Side = Field(description="cells down")
    pitch_mm: Millimetres = Field(
        1000 / 30, description="distance from column to column, 33.3 for 30 LEDs/m"
    )
    row_pitch_mm: Millimetres | None = Field(
        None, description="distance from row to row; default: pitch_mm"
    )
    gaps: list[Gap] = Field([], description="cells that show nothing, as rectangles")

    @model_validator(mode="after")
    def _fits(self) -> Grid:
        if self.columns * self.rows > MOST_CELLS:
            raise Contradiction(
                f"{self.columns} × {self.rows} = {self.columns * self.rows} cells",
                f"make it at most {MOST_CELLS} cells.",
            )
        for number, gap in enumerate(self.gaps, 1):
            if gap.column + gap.columns > self.columns or gap.row + gap.rows > self.rows:
                raise Contradiction(
                    f"gap number {number} reaches column {gap.column + gap.columns - 1}, row"
                    f" {gap.row + gap.rows - 1}, outside the grid of {self.columns} × {self.rows}",
                    f"end it at column {self.columns - 1}, row {self.rows - 1}, or before.",
                )
        if self.gap_mask().all():
            raise Contradiction("the gaps cover every cell", "leave a cell for an LED.")
        return self

    @property
    def pitches_mm(self) -> tuple[float, float]:
        """Distance from column to column and from row to row."""
        return self.pitch_mm, self.row_pitch_mm or self.pitch_mm

    def gap_mask(self) -> NDArray[np.bool_]:
        """(rows, columns) bool, True for a cell that shows nothing."""
        return self._covered(self.gaps)

    def hidden_mask(self) -> NDArray[np.bool_]:
        """(rows, columns) bool, True for a cell in a gap through which the strips go on."""
        by_leds = self._covered([gap for gap in self.gaps if gap.hidden_leds])
        return by_leds & ~self._covered([gap for gap in self.gaps if not gap.hidden_leds])

    def _covered(self, gaps: Sequence[Gap]) -> NDArray[np.bool_]:
        mask = np.zeros((self.rows, self.columns), dtype=bool)
        for gap in gaps:
            mask[gap.row : gap.row + gap.rows, gap.column : gap.column + gap.columns] = True
        return mask


class WiringSection(Section):
    """The path of the data, by a few keywords or by a map in a CSV file."""

    start: Corner = Field("top-left", description="corner of the first LED, seen from the front")
    along: Along = Field("rows", description="direction of the strips: along rows or along columns")
    path: Path = Field(
        "serpentine",
        description="serpentine: every other strip runs back; progressive: all run the same way",
    )
    lines: Side = Field(1, description="controller outputs that share the strips in blocks")
    hidden_first: Hidden = Field(
        0,
        description="hidden LEDs on each line before its first cell, such as one that only shifts"
        " the level of the data. A hidden LED is on the wire, has no cell and stays dark",
    )
    hidden_between: Hidden = Field(
        0, description="hidden LEDs at each turn from strip to strip of a line"
    )
    hidden_last: Hidden = Field(
        0, description="hidden LEDs on each line after its last cell: spares, a rest of strip"
    )
    map: str | None = Field(
        None,
        description="CSV file with columns line,led,column,row, instead of the keys above; column"
        " and row of a hidden LED are -1",
    )
    reel_leds: Annotated[int, Field(ge=1, le=100_000)] = Field(
        150, description="LEDs on a reel, for the cut list"
    )


class RunSection(Section):
    """One straight piece of strip; gap cells between its ends are skipped."""

    from_: Annotated[list[Place], Field(min_length=2, max_length=2)] = Field(
        alias="from", description="cell of its first LED: [column, row]"
    )
    to: Annotated[list[Place], Field(min_length=2, max_length=2)] = Field(
        description="cell of its last LED: [column, row]"
    )
    hidden_first: Hidden = Field(
        0, description="hidden LEDs of it before `from`: on the wire, without a cell, dark"
    )
    hidden_last: Hidden = Field(0, description="hidden LEDs of it after `to`")


class LineSection(Section):
    """One controller output and the runs on it, in the order of the data."""

    name: Words | None = Field(None, description="what you call this line")
    run: list[RunSection] = Field(min_length=1, description="its straight pieces of strip")


class Controller(Section):
    """The controller that drives the display."""

    logic_volts: Annotated[float, Field(ge=1, le=15)] = Field(
        5.0, description="high level on the data pin"
    )
    frame_rate: Annotated[float, Field(gt=0, le=10_000)] = Field(
        30.0, description="frames a second you want"
    )
    first_led_volts: Annotated[float, Field(gt=0, le=60, allow_inf_nan=False)] | None = Field(
        None,
        description="supply of the first LED of each line where that is lower to shift the level of"
        " the data (see hidden_first); default: as the other LEDs",
    )
    sends_lines: Literal["together", "in turn"] = Field(
        "together",
        description="together: on several pins at the same time; in turn: one line after the other,"
        " so that their times add up",
    )
    clock_mhz: Annotated[float, Field(gt=0, le=100)] = Field(
        1.0, description="clock of a chip with a clock line"
    )
    data_wire_m: Annotated[float, Field(ge=0, le=1000, allow_inf_nan=False)] = Field(
        0.3, description="data wire from the controller to the first LED"
    )
    common_ground: bool = Field(
        True, description="the controller's ground is joined to the ground of the LEDs"
    )


class DisplayFile(Section):
    """A whole display file."""

    about: Words = Field("", description="a line about the display")
    grid: Grid
    chip: ChipSection
    wiring: WiringSection | None = None
    line: Annotated[list[LineSection], Field(max_length=MOST_LINES)] | None = None
    controller: Controller = Controller()
    canvas: CanvasSection = CanvasSection()
    cover: Cover = Cover()
    view: View = View()
    camera: Camera | None = None
    power: PowerSection = PowerSection()
    board: BoardSection = BoardSection()
    fault: Annotated[list[dict[str, Any]], Field(max_length=1000)] = Field(
        [],
        description="faults that the wall as built has, one [[fault]] table each: its kind, and"
        " where; `foreglow faults` lists the kinds and their keys",
    )

    @model_validator(mode="after")
    def _one_wiring(self) -> DisplayFile:
        if self.line is None and self.wiring is None:
            raise Contradiction(
                "no wiring is given", "add [wiring], or [[line]] tables with [[line.run]]."
            )
        if self.line is not None and self.wiring is not None:
            words = self.wiring.model_fields_set - {"reel_leds"}
            if words:
                raise Contradiction(
                    f"[[line]] and {', '.join(sorted(words))} in [wiring] both describe the wiring",
                    "keep one of the two.",
                )
        return self
