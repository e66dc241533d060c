"""Which cell of the plan is which cell of the picture: by the wall's edge, and its gaps.

That the film is upright and not mirrored is assumed (`upright` says what the numbers say to that),
except a grid that only fits if it is turned.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from emulator.arrays import Bools, Floats, Ints

_BETTER = 0.2  # of the light: so much better must a turned grid fit, or a way be agreed with


@dataclass(frozen=True)
class Placed:
    """Where the plan's cells are in the picture's lattice.

    column, row: (rows, columns) of the plan's grid, in the picture's; may lie outside of it.
    notes: what was assumed.
    """

    column: Ints
    row: Ints
    notes: tuple[str, ...]


def wall_in(strength: Floats, held: Bools) -> tuple[Bools, tuple[int, ...]]:
    """Which cells of the picture's lattice are the wall's: not what the floor mirrors of it.

    Also the size of the plan's grid as it lies in the picture. strength: (rows, columns) 1 is
    usual, 0 dark. held: the plan's cells with an LED.
    """
    pad = max(held.shape)
    shines = np.pad(np.clip(strength, 0, 1), pad)
    tries = []
    for quarter in range(4):
        grid = np.rot90(held, quarter)
        fit = _fits(shines, grid)
        down, right = (int(k) for k in np.unravel_index(int(fit.argmax()), fit.shape))
        tries.append((round(float(fit[down, right]), 3), down, right, grid))
    _, down, right, grid = max(tries, key=lambda one: one[0])
    found = np.zeros(shines.shape, dtype=np.bool_)
    found[down : down + grid.shape[0], right : right + grid.shape[1]] = grid
    return found[pad : pad + strength.shape[0], pad : pad + strength.shape[1]], grid.shape


@dataclass(frozen=True)
class _Try:
    words: str
    fit: float  # cells inside that shine, less those outside and in gaps
    votes: int  # cells that show the number of the plan
    column: Ints
    row: Ints


def place(number: Ints, strength: Floats, planned: Ints) -> Placed:
    """Lay the plan's grid on the picture's.

    number: of the picture's cells, -1 for none. strength: 1 is usual, 0 dark. planned: (rows,
    columns) the plan's numbers, -1 in gaps.
    """
    upright, left, _, right = (_laid(number, strength, planned, quarter) for quarter in range(4))
    shines = float(np.clip(strength, 0, 1).sum())
    aside = max(left, right, key=lambda one: (one.votes, one.fit))
    if aside.fit - upright.fit < _BETTER * shines:
        return Placed(upright.column, upright.row, ())
    note = f"The film is {aside.words}, or the wall is: only so the grid fits."
    if abs(left.votes - right.votes) < _BETTER * shines:
        note += " Whether to the left or to the right, the numbers do not say."
    return Placed(aside.column, aside.row, (note,))


def _laid(number: Ints, strength: Floats, planned: Ints, quarter: int) -> _Try:
    """The best offset of the plan's grid, after the picture was turned back by quarters."""
    pad = max(*planned.shape, 8) // 2
    pads = ((pad, pad), (pad, pad))
    size = number.shape[0] + 2 * pad, number.shape[1] + 2 * pad
    grids = [
        np.pad(number, pads, constant_values=-1),
        np.pad(np.clip(strength, 0, 1), pads),
        np.broadcast_to(np.arange(size[0])[:, None] - pad, size),
        np.broadcast_to(np.arange(size[1]) - pad, size),
    ]
    shown, shines, row, column = (np.rot90(one, -quarter) for one in grids)
    high, wide = planned.shape
    downs, rights = shown.shape[0] - high + 1, shown.shape[1] - wide + 1
    if downs < 1 or rights < 1:
        empty = np.full(planned.shape, -1)
        return _Try("", -np.inf, 0, empty, empty)
    fit = _fits(shines, planned >= 0)
    votes = _votes(shown, planned, downs, rights)
    down, right = np.unravel_index(int((fit + 0.003 * votes).argmax()), fit.shape)
    part = slice(int(down), int(down) + high), slice(int(right), int(right) + wide)
    return _Try(
        "turned by a quarter to the " + ("left" if quarter == 1 else "right"),
        float(fit[down, right]),
        int(votes[down, right]),
        column[part],
        row[part],
    )


def _fits(shines: Floats, held: Bools) -> Floats:
    """For each offset of the grid, light inside less that outside and in gaps."""
    from scipy.signal import fftconvolve  # of the extra `campaign`; slow to load

    inside = fftconvolve(shines, held[::-1, ::-1].astype(np.float64), "valid")
    return np.asarray(2 * inside - shines.sum())


def _votes(shown: Ints, planned: Ints, downs: int, rights: int) -> Ints:
    """(downs, rights) for each offset: how many cells show the number of the plan."""
    at = np.full((int(max(planned.max(), shown.max())) + 1, 2), -1, dtype=np.int64)
    there = np.argwhere(planned >= 0)
    at[planned[planned >= 0]] = there
    votes = np.zeros((downs, rights), dtype=np.int64)
    rows, columns = np.nonzero(shown >= 0)
    meant = at[shown[rows, columns]]
    offset = np.stack([rows, columns], axis=1) - meant
    good = (meant[:, 0] >= 0) & (offset >= 0).all(axis=1)
    good &= (offset[:, 0] < downs) & (offset[:, 1] < rights)
    np.add.at(votes, tuple(offset[good].T), 1)
    return votes
