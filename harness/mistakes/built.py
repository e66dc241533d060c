"""What LEDs show of a wall that is built otherwise than planned, by the faults of built walls."""

from __future__ import annotations

import numpy as np

from emulator.arrays import Ints
from emulator.chain import by_led
from emulator.description.chips import chip
from emulator.description.display import Display
from emulator.description.faults.built import as_built
from emulator.description.faults.reading import with_faults
from emulator.description.sections import Grid
from emulator.description.wiring import Wiring
from harness.patterns.coded import NEVER_LIT


def shown_as_built(sentence: str, cells: Ints, wiring: Wiring) -> Ints:
    """The cell each LED shows (N,) with a fault of the wiring or the strip.

    cells: (N,) what is sent to each LED as planned.
    """
    grid = Grid(columns=wiring.columns, rows=wiring.rows)
    display = with_faults(Display("wall", grid, chip("WS2812B"), wiring), [sentence])
    built = as_built(display, display.faults)
    table = by_led(built)
    lit = (table.at >= 0) & ~built.off.all(axis=1)
    return np.where(lit, cells[table.at // display.chip.bytes_per_led], NEVER_LIT)
