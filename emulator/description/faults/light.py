"""The kinds of the light: the cover before the cells, and LEDs that sit badly behind it.

They change what people see, not what the LEDs give: pictures of the wall show them, the drives do
not.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, ClassVar, Self

import numpy as np
from pydantic import Field

from emulator.arrays import Bools
from emulator.description.display import Display
from emulator.description.faults.built import Built, Patch
from emulator.description.faults.fault import PRACTICE, Fault, OfLed, Stage, Wrong
from emulator.description.sections import Place, Side

_BARE = (
    "photometry: the luminance of a face is its exitance / π; an LED without a front is drawn as"
    " its own face, of `emitter_mm`"
)


class _OfCells(Fault):
    """Base of the kinds whose place is a rectangle of cells."""

    column: Place = Field(description="leftmost column, from 0, seen from the front")
    row: Place = Field(description="top row, from 0")
    columns: Side = Field(1, description="how many columns wide")
    rows: Side = Field(1, description="how many rows high")

    def judge(self, display: Display) -> Iterator[Wrong]:
        """As Fault.judge."""
        grid = display.grid
        if self.column + self.columns > grid.columns or self.row + self.rows > grid.rows:
            last = f"column {self.column + self.columns - 1}, row {self.row + self.rows - 1}"
            yield Wrong("column", f"it reaches {last}, outside the grid",
                        f"end at column {grid.columns - 1}, row {grid.rows - 1}.")  # fmt: skip
        elif display.gap[self._rectangle].all():
            yield Wrong("column", "it is all gap", "name cells that have LEDs.")

    @property
    def _rectangle(self) -> tuple[slice, slice]:
        down = slice(self.row, self.row + self.rows)
        return down, slice(self.column, self.column + self.columns)

    def cells(self, display: Display) -> Bools:
        """(rows, columns) True for its cells."""
        mask = np.zeros(display.picture_shape[:2], dtype=np.bool_)
        mask[self._rectangle] = True
        return mask

    @classmethod
    def everywhere(cls, display: Display) -> Iterator[Self]:
        """As Fault.everywhere: each cell that has an LED."""
        for row, column in np.argwhere(~display.gap).tolist():
            yield cls(column=column, row=row)


class CoverMissing(_OfCells):
    """The front is missing before some cells: the bare LEDs are seen."""

    name: ClassVar[str] = "cover-missing"
    stage: ClassVar[Stage] = "light"
    looks: ClassVar[str] = "glaring points in place of even cells"
    alike: ClassVar[str] = "a cracked front; an LED much too bright, but a point is small"
    measure: ClassVar[str] = "look at the front from the side, with the wall off"
    source: ClassVar[str] = _BARE

    def act(self, built: Built) -> None:
        """As Fault.act."""
        built.patches.append(Patch(self.cells(built.display), bare=True))


class CoverCracked(_OfCells):
    """The front is cracked before some cells: part of the light passes without being scattered."""

    name: ClassVar[str] = "cover-cracked"
    stage: ClassVar[Stage] = "light"
    looks: ClassVar[str] = "a bright point or line within an even cell"
    alike: ClassVar[str] = "an LED off the middle"
    measure: ClassVar[str] = "look along the front with a lamp from the side, with the wall off"
    source: ClassVar[str] = f"{_BARE}; the share is an assumption, no source"

    share: Annotated[float, Field(gt=0, le=1)] = Field(
        0.1, description="share of the light that passes the crack"
    )

    def act(self, built: Built) -> None:
        """As Fault.act."""
        built.patches.append(Patch(self.cells(built.display), self.share, bare=True))


class LedOffMiddle(OfLed):
    """An LED sits off the middle of its cell."""

    name: ClassVar[str] = "led-off-middle"
    stage: ClassVar[Stage] = "light"
    looks: ClassVar[str] = "the spot of one cell is to one side; its far edge is dark"
    alike: ClassVar[str] = "a dirty front over part of the cell"
    measure: ClassVar[str] = "the pitch on the strip against that of the board, with the cover off"
    source: ClassVar[str] = "the cos⁴ law, as for all light (`emulator.light.cover`)"

    right_mm: Annotated[float, Field(ge=-1000, le=1000)] = Field(
        5.0, description="how far to the right, seen from the front; below 0: to the left"
    )
    down_mm: Annotated[float, Field(ge=-1000, le=1000)] = Field(
        0.0, description="how far down; below 0: up"
    )

    def judge(self, display: Display) -> Iterator[Wrong]:
        """As Fault.judge."""
        found = [*super().judge(display)]
        yield from found
        if found:
            return
        position = display.wiring.line_starts[self.line] + self.led
        if display.wiring.hidden[position]:
            yield Wrong("led", f"LED {self.led} of line {self.line} is hidden", "name another one.")
        for key, pitch_mm in zip(("right_mm", "down_mm"), display.grid.pitches_mm, strict=True):
            if 2 * abs(getattr(self, key)) >= pitch_mm:
                yield Wrong(key, f"{key} = {getattr(self, key):g} is outside the cell",
                            f"give less than {pitch_mm / 2:g}, either way.")  # fmt: skip

    def act(self, built: Built) -> None:
        """As Fault.act."""
        wiring, position = built.display.wiring, built.position(self.line, self.led)
        cells = np.zeros(built.display.picture_shape[:2], dtype=np.bool_)
        cells[wiring.row[position], wiring.column[position]] = True
        built.patches.append(Patch(cells, off_mm=(self.right_mm, self.down_mm)))

    @classmethod
    def everywhere(cls, display: Display) -> Iterator[Self]:
        """As Fault.everywhere: each LED that has a cell, a quarter of the pitch to the right."""
        off_mm = round(display.grid.pitches_mm[0] / 4, 3)
        for one in super().everywhere(display):
            moved = one.model_copy(update={"right_mm": off_mm})
            if not any(moved.judge(display)):
                yield moved


class FrontDirty(_OfCells):
    """The front is dirty before some cells: it swallows part of the light."""

    name: ClassVar[str] = "front-dirty"
    stage: ClassVar[Stage] = "light"
    looks: ClassVar[str] = "some cells are dimmer, in all colours and at every level alike"
    alike: ClassVar[str] = "weak LEDs; LEDs of another batch, but those have a cast"
    measure: ClassVar[str] = "wipe the front"
    source: ClassVar[str] = f"{PRACTICE}: a grey filter"

    passes: Annotated[float, Field(ge=0, lt=1)] = Field(
        0.6, description="share of the light that still passes"
    )

    def act(self, built: Built) -> None:
        """As Fault.act."""
        built.clear[self.cells(built.display)] *= self.passes


KINDS: tuple[type[Fault], ...] = (CoverMissing, CoverCracked, LedOffMiddle, FrontDirty)
