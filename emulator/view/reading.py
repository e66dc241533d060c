"""What a picked cell says: where it is in the wiring, and what it shows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emulator.bench import led_light
from emulator.description.display import Display
from emulator.description.wiring import Wiring
from emulator.picture.srgb import linear_to_srgb


@dataclass(frozen=True)
class Reading:
    """The text for a cell; colour: sRGB 0…255, None in a gap."""

    cell: str
    place: str
    drive: str = ""
    colour: tuple[int, int, int] | None = None

    @property
    def colour_name(self) -> str:
        """'#rrggbb', '' in a gap."""
        return "" if self.colour is None else "#{:02x}{:02x}{:02x}".format(*self.colour)


def read_cell(display: Display, drives: NDArray[np.uint8], cell: tuple[int, int]) -> Reading:
    """The text for cell (column, row), from drives, uint8 (N, C), in the order of chip.channels."""
    column, row = cell
    where = f"column {column}, row {row}"
    wiring = display.wiring
    position = int(wiring.led_at[row, column])
    if position < 0:
        return Reading(where, _in_gap(wiring, column, row))
    line, channels = int(wiring.line[position]), display.chip.channels
    name = wiring.line_names[line]
    named = "" if name == f"line {line}" else f" ({name})"
    place = f"LED {wiring.led[position]} · line {line}{named} · run {wiring.run[position]}"
    values = drives[position].tolist()
    drive = "   ".join(f"{letter} {v}" for letter, v in zip(channels, values, strict=True))
    red, green, blue = np.round(255 * linear_to_srgb(led_light(drives[position], channels)))
    return Reading(where, place, drive, (int(red), int(green), int(blue)))


def _in_gap(wiring: Wiring, column: int, row: int) -> str:
    """What a gap has at a cell."""
    there = wiring.hidden & (wiring.column == column) & (wiring.row == row)
    if not there.any():
        return "gap: no LED"
    at = int(there.argmax())
    return f"gap: LED {wiring.led[at]} of line {wiring.line[at]} has no cell, stays dark"
