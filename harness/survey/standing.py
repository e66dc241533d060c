"""Where each LED of the plan is, how sure that is, and why not."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bools, Floats, Ints
from emulator.description.display import Display

Value = TypeVar("Value", np.bool_, np.float64)

_CONFIDENT = 0.999
# Reasons why one LED or several are uncertain; `advice` says what helps against each.
NOISE = "blinking hardly stronger than the noise"
OUTSIDE = "planned cell outside the picture"
NO_NUMBER = "planned cell blinking, but not as any number"
MAYBE = "not found; it may be at"
BLURRED = "not found, and LEDs that blink beside its planned cell cannot be read"
BRIGHT = "planned cell too bright to see an LED there"
BESIDE = "number blinking in the picture, but at no cell"
BETWEEN = "number blinking nearer the middle of another cell"
ALONE = "number blinking at another cell than planned, and most cells around cannot be read"
AWAY = "not found, and"
ILLEGIBLE = "much of the film could not be read, so nothing of it is sure"
# With these it may be lit, though its planned cell looks dark.
OPEN = frozenset({BESIDE, BLURRED, OUTSIDE})

_RULED_OUT = 0.5  # correlation with an LED's word: below, a cell does not show it


@dataclass(frozen=True)
class Cells:
    """What the film shows of the plan's cells (rows, columns).

    number: that each shows, below 0 for none. confidence: 0…1 of it. swing: of each, 1 is usual.
    own: (B, rows, columns) its light in each bit, without what spills from neighbours. outside:
    cells that the picture does not have. vague: that blink, but as no number. clipped: so bright
    that an LED there could not be seen. stirring: cells without a number whose light is not steady,
    as where pictures do not lie right on each other.
    """

    number: Ints
    confidence: Floats
    swing: Floats
    own: Floats
    outside: Bools
    vague: Bools
    clipped: Bools
    stirring: Bools

    @property
    def blurred(self) -> Bools:
        """(rows, columns) cells that are stirring, or beside those: whatever lights there, pictures
        that lie wrong could hide it."""
        return np.asarray(np.any(around(self.stirring), axis=0))


@dataclass(frozen=True)
class Standing:
    """Of the N LEDs with a cell. column, row: -1 for one not found; sure: 0…1; why: the reason why
    it is uncertain, '' where it is certain where the LED is, or that it is dark."""

    column: Ints
    row: Ints
    sure: Floats
    why: tuple[str, ...]


def standing_of(
    display: Display, cells: Cells, words: Bools, blinking: Bools, astray: Bools
) -> Standing:
    """Where each LED is. words: (N, B). blinking: (N,) its number blinks somewhere in the picture,
    so that it is not dark. astray: (N,) it blinks nearer another cell than the one that shows it.
    """
    wiring = display.wiring
    leds = len(wiring.placed)
    column, row = np.full(leds, -1), np.full(leds, -1)
    sure = np.zeros(leds)
    plan = wiring.row[wiring.placed], wiring.column[wiring.placed]
    rows, columns = np.nonzero(cells.number >= 0)
    order = np.argsort(np.nan_to_num(cells.swing[rows, columns]), kind="stable")  # brightest last
    rows, columns = rows[order], columns[order]
    numbers = cells.number[rows, columns]
    row[numbers], column[numbers] = rows, columns
    own = cells.number[plan] == np.arange(leds)  # of several cells, the planned one
    row[own], column[own] = plan[0][own], plan[1][own]
    found = row >= 0
    sure[found] = cells.confidence[row[found], column[found]]
    elsewhere = _vague_cell(cells, words)
    dark = (cells.number < 0) & ~cells.vague & ~cells.outside & ~cells.clipped
    blurred = cells.blurred
    alone = _alone(cells, column, row)
    away = int((cells.outside & ~display.gap).sum())
    why = [""] * leds
    for led in range(leds):
        at = plan[0][led], plan[1][led]
        if found[led]:
            if astray[led]:
                why[led] = BETWEEN
            elif not own[led] and alone[row[led], column[led]]:
                why[led] = ALONE
            elif sure[led] < _CONFIDENT:
                why[led] = NOISE
        elif blinking[led]:
            why[led] = BESIDE
        elif cells.outside[at]:
            why[led] = OUTSIDE
        elif cells.vague[at]:
            why[led] = NO_NUMBER
        elif elsewhere[led] >= 0:
            y, x = divmod(int(elsewhere[led]), display.grid.columns)
            why[led] = f"{MAYBE} column {x} row {y}, whose number cannot be read"
        elif cells.clipped[at]:
            why[led] = BRIGHT
        elif blurred[at]:
            why[led] = BLURRED
        elif away and not dark[at]:
            why[led] = f"{AWAY} {away} cells are outside the picture"
    return Standing(column, row, sure, tuple(why))


def _alone(cells: Cells, column: Ints, row: Ints) -> Bools:
    """(rows, columns) cells of whose neighbours half or more cannot be read: there the lattice may
    be off by a cell. column, row: (N,) of the LEDs; a cell that shows the number of one that is
    elsewhere is not read."""
    read = np.zeros(cells.number.shape, dtype=np.bool_)
    read[row[row >= 0], column[row >= 0]] = True
    unread = (cells.number >= 0) & ~read
    unread |= (cells.vague | cells.stirring | cells.outside | cells.clipped) & (cells.number < 0)
    unread, there = (np.sum(around(one), axis=0) for one in (unread, np.ones_like(unread)))
    return np.asarray(2 * unread >= there - 1)  # a cell is among its own


def around(cells: NDArray[Value], beyond: float = 0) -> list[NDArray[Value]]:
    """Of each cell of (rows, columns) the nine of its neighbourhood, itself in the middle; what is
    beyond the edge is given."""
    wide = np.pad(cells, 1, constant_values=beyond)
    rows, columns = cells.shape
    return [wide[y : y + rows, x : x + columns] for y in range(3) for x in range(3)]


def _vague_cell(cells: Cells, words: Bools) -> Ints:
    """(N,) of each LED the cell, row · columns + column, that cannot be read and shows it rather
    than others; -1 for none."""
    at = np.flatnonzero(cells.vague)
    light = np.nan_to_num(cells.own.reshape(len(cells.own), -1)[:, at])
    if not len(at):
        return np.full(len(words), -1)
    signs = np.where(words, 1.0, -1.0)
    size = np.linalg.norm(light, axis=0) * np.sqrt((light != 0).any(axis=1).sum()) + 1e-12
    like = signs @ light / size
    best = like.argmax(axis=1)
    return np.where(like[np.arange(len(words)), best] > _RULED_OUT, at[best], -1)
