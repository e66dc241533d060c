"""The map as built: which cell each LED of each line drives, as CSV for `[wiring] map`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from emulator.arrays import Ints
from emulator.description.display import Display
from emulator.description.faults.built import EXTRA, as_built
from emulator.description.faults.fault import Fault
from emulator.description.wiring import NO_CELL
from harness.find.asbuilt import why_not_rewired
from harness.survey.seen import Seen
from harness.survey.upright import Turn


@dataclass(frozen=True, eq=False)
class MapAsBuilt:
    """table: (M, 4) line, led, column, row, NO_CELL for an LED without one. lacks: why this map
    alone does not make the wall right; '' if it does."""

    table: Ints
    lacks: str

    def lacking(self, what: str) -> MapAsBuilt:
        """The same map, which lacks something more."""
        return replace(self, lacks=f"{self.lacks}; {what}" if self.lacks else what)


def map_as_built(
    seen: Seen, display: Display, faults: Sequence[Fault], explained: bool, turn: Turn
) -> MapAsBuilt:
    """The map that faults make, if they explain all that the film shows; else what was read.

    Where an LED could not be read, the faults say where it is. turn: how the film shows the wall.
    """
    lacks = []
    if explained:
        table = _of_faults(display, faults, turn)
        unmoved = [fault for fault in faults if fault.stage != "wiring"]
        lacks += [reason] if (reason := why_not_rewired(display, unmoved)) else []
    else:
        table = _as_read(seen, display)
        lacks.append("no fault that foreglow knows explains all of what the film shows")
    held = table[:, 3] * display.wiring.columns + table[:, 2]
    empty = np.setdiff1d(np.flatnonzero(~display.gap), held)
    if empty.size:
        row, column = divmod(int(empty[0]), display.wiring.columns)
        more = f" and {empty.size - 1} more" if empty.size > 1 else ""
        lacks.append(
            f"the cell in column {column}, row {row}{more} has no LED in it: put one in, or declare"
            " a gap in [grid]"
            if explained
            else f"the cell in column {column}, row {row}{more} could not be read: film again, or"
            " write its LED into the map by hand"
        )
    return MapAsBuilt(table, "; ".join(lacks))


def _of_faults(display: Display, faults: Sequence[Fault], turn: Turn) -> Ints:
    wiring = display.wiring
    filmed = turn.filmed(wiring.rows, wiring.columns)
    tables = []
    for line, chain in enumerate(as_built(display, faults).chains):
        there = (chain != EXTRA) & ~wiring.hidden[chain]
        cell = np.where(there, filmed[np.maximum(wiring.cell[chain], 0)], 0)
        row, column = np.divmod(cell, wiring.columns)
        cells = (np.where(there, one, NO_CELL) for one in (column, row))
        tables.append(np.stack([np.full(chain.size, line), np.arange(chain.size), *cells], axis=1))
    return np.concatenate(tables)


def _as_read(seen: Seen, display: Display) -> Ints:
    wiring = display.wiring
    table = np.stack([wiring.line, wiring.led, *np.full((2, len(wiring)), NO_CELL)], axis=1)
    table[wiring.placed, 2], table[wiring.placed, 3] = seen.column, seen.row
    return table
