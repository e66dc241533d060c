"""Whether the whole film shows the wall mirrored or turned.

The LEDs say where left and top are, once most of them agree with the plan up to one of the
symmetries of a rectangle. A mirrored camera and a wall that is wired mirrored look the same.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Ints
from harness.survey.seen import Seen, planned_numbers

_Value = TypeVar("_Value", bound=np.generic)

_FEW = 8  # LEDs, below which nothing is said
_MOST, _HALF = 0.9, 0.5  # of the LEDs: that agree with a symmetry, and with the plan as it is


@dataclass(frozen=True)
class Turn:
    """How the film shows the wall: rows and columns exchanged first, then each counted from its
    other end."""

    transposed: bool = False
    upside_down: bool = False
    mirrored: bool = False

    def undo(self, cells: NDArray[_Value]) -> NDArray[_Value]:
        """(rows, columns, …) as filmed → as planned."""
        if self.upside_down:
            cells = cells[::-1]
        if self.mirrored:
            cells = cells[:, ::-1]
        return cells.swapaxes(0, 1) if self.transposed else cells

    def filmed(self, rows: int, columns: int) -> Ints:
        """(rows · columns,) the cell of the film, row · columns + column, of each planned cell."""
        return np.asarray(self.undo(np.arange(rows * columns).reshape(rows, columns)).ravel())

    def words(self) -> str:
        """'mirrored left-right'."""
        if self.transposed:
            turned = {
                (True, False): "turned by 90° to the left",
                (False, True): "turned by 90° to the right",
            }
            about = "transposed: rows and columns are exchanged"
            return turned.get((self.upside_down, self.mirrored), about)
        return {
            (False, True): "mirrored left-right", (True, False): "upside down",
            (True, True): "turned by 180°",
        }.get((self.upside_down, self.mirrored), "upright")  # fmt: skip


UPRIGHT = Turn()


def turn_of(seen: Seen) -> Turn:
    """The symmetry that most LEDs agree with."""
    wiring = seen.display.wiring
    planned = planned_numbers(wiring)
    ways = (False, True) if wiring.rows == wiring.columns else (False,)
    share = {}
    for way in (Turn(*flags) for flags in product(ways, (False, True), (False, True))):
        back = way.undo(seen.number)
        read = back >= 0
        if read.sum() >= _FEW:
            share[way] = float((back == planned)[read].mean())
    if not share or share[UPRIGHT] > _HALF:
        return UPRIGHT
    best = max(share, key=lambda way: share[way])
    return best if share[best] >= _MOST else UPRIGHT


def set_upright(seen: Seen, turn: Turn) -> Seen:
    """What the film would show if it were upright. Of its cells alone: LEDs and still stay."""
    return replace(
        seen,
        number=turn.undo(seen.number),
        light=turn.undo(seen.light),
        hues=turn.undo(seen.hues),
        unsure_light=turn.undo(seen.unsure_light),
        swing=turn.undo(seen.swing),
        flicker=turn.undo(seen.flicker),
    )
