"""From swings to numbers: which word of the code each cell shows, and how surely.

A cell's swings in all bits are compared with every word at once (the most likely word under equal
noise in all bits is the one with the largest correlation: J. G. Proakis, Digital Communications,
soft-decision decoding of block codes). Light that spills from cells to their neighbours is
estimated from the cells themselves and taken away, so that a dark cell is seen to be dark.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bools, Floats, Ints

_TURNS = 4
_REACH = 2  # cells, to which light spills
_SURE = 0.8  # correlation of a cell that may teach how light spills
_SURE_LIT = 0.85  # correlation of a cell that is lit by its own LED
_LIKE = 0.75  # correlation with a word that counts as read
_AHEAD = 0.25  # of the next word
_LEAK = 0.3  # of the same number's strongest cell: less is its reflection, or light spilt
_BLOCK = 1024  # cells compared with all words in one go


@dataclass(frozen=True)
class Read:
    """What cells (rows, columns) show.

    own: (B, rows, columns) half of the difference of lit and dark in each bit, without the light
    that spills from neighbours; NaN for a bit not seen. number: the most likely number of each.
    swing: half of the difference of lit and dark, in the unit given. like: correlation 0…1 of the
    cell's swings with the number's word; second: with the next best number's. confidence: 0…1 that
    it is this number and no other.
    """

    own: Floats
    number: Ints
    swing: Floats
    like: Floats
    second: Floats
    confidence: Floats

    @property
    def clear(self) -> Bools:
        """(rows, columns) cells that show their number, and not another as well."""
        return (self.like >= _LIKE) & (self.like - self.second >= _AHEAD) & (self.swing > 0)

    @property
    def shown(self) -> Ints:
        """(rows, columns) the number that each cell shows, -1 for none.

        Cells that show the number of a much brighter cell show its light, not their own.
        """
        number = np.where(self.clear, self.number, -1)
        most = np.zeros(int(self.number.max()) + 1)
        np.maximum.at(most, number[self.clear], self.swing[self.clear])
        return np.where(self.swing < _LEAK * most[number], -1, number)

    @property
    def found(self) -> int:
        """How many numbers are read."""
        return len(np.unique(self.shown[self.shown >= 0]))

    @property
    def worth(self) -> float:
        """The same, less for cells that show a number again, as in a lattice that is too fine."""
        return 1.25 * self.found - 0.25 * int((self.shown >= 0).sum())


def usual_swing(read: Read) -> float:
    """The swing of a usual cell that is lit."""
    sure = read.like > _SURE_LIT
    strong = read.swing[sure] if sure.any() else read.swing.ravel()
    return max(float(np.median(strong[strong > 0.2 * strong.max()])), 1e-12)


def read_cells(swings: Floats, words: Bools) -> Read:
    """Read cells. swings: (B, rows, columns), bit minus inverse; a bit not seen is all NaN.

    words: (N, B). Raises ValueError if no bit was seen.
    """
    seen = ~np.isnan(swings).all(axis=(1, 2))
    if not seen.any():
        raise ValueError("no bit was seen")
    signs = np.where(words[:, seen], 1.0, -1.0).astype(np.float32)
    given = (np.nan_to_num(swings[seen]) / 2).astype(np.float32)
    own = given
    for turn in range(_TURNS):
        number, along, second = _best(own, signs)
        size = np.sqrt((own**2).sum(axis=0)) * np.sqrt(len(own)) + 1e-12
        swing = along / np.float32(len(own))
        like = along / size
        if turn == _TURNS - 1:
            break
        shown = np.moveaxis(signs[number], -1, 0) * swing  # (B, rows, columns)
        usual = float(np.median(swing[like > _SURE])) if (like > _SURE).any() else 0.0
        teaches = (like > _SURE) & (swing > 0.4 * usual)
        there = np.where((like > 0.6) & (swing > 0.1 * usual), shown, 0)
        own = given - _spilt(given, there, teaches)
    rest = own - np.moveaxis(signs[number], -1, 0) * swing
    noise = np.sqrt((rest**2).mean(axis=0), dtype=np.float32)
    every = np.full(swings.shape, np.nan)
    every[seen] = own
    return Read(
        every,
        number,
        swing.astype(np.float64),
        like.astype(np.float64),
        (second / size).astype(np.float64),
        _confidence(along, second, swing, noise, len(words)),
    )


def _best(
    own: NDArray[np.float32], signs: NDArray[np.float32]
) -> tuple[Ints, NDArray[np.float32], NDArray[np.float32]]:
    """The word with the largest correlation, that correlation, and the second largest."""
    bits, rows, columns = own.shape
    flat = own.reshape(bits, -1).T
    number = np.zeros(len(flat), dtype=np.int64)
    most = np.zeros(len(flat), dtype=np.float32)
    second = np.zeros(len(flat), dtype=np.float32)
    for begin in range(0, len(flat), _BLOCK):
        part = slice(begin, begin + _BLOCK)
        along = flat[part] @ signs.T
        at = np.arange(len(along))
        number[part] = best = along.argmax(axis=1)
        most[part] = along[at, best]
        along[at, best] = -np.inf
        second[part] = along.max(axis=1) if along.shape[1] > 1 else 0.0
    grid = (rows, columns)
    return number.reshape(grid), most.reshape(grid), second.reshape(grid)


def _spilt(
    given: NDArray[np.float32], shown: NDArray[np.float32], teaches: Bools
) -> NDArray[np.float32]:
    """(B, rows, columns) light that comes from neighbours: one kernel for the whole wall.

    given: what cells measure; shown: what they show, by themselves; teaches: cells to learn from.
    """
    if teaches.sum() < 40:
        return np.zeros_like(given)
    reach = _REACH
    padded = np.pad(shown, ((0, 0), (reach, reach), (reach, reach)))
    rows, columns = teaches.shape
    ways = [
        (down, right) for down in range(-reach, reach + 1) for right in range(-reach, reach + 1)
    ]
    around = [
        padded[:, reach + d : reach + d + rows, reach + r : reach + r + columns] for d, r in ways
    ]
    table = np.stack([one[:, teaches].ravel() for one in around], axis=1).astype(np.float64)
    target = given[:, teaches].ravel().astype(np.float64)
    square = table.T @ table
    square += 1e-6 * np.trace(square) / len(square) * np.eye(len(square))
    kernel = np.linalg.solve(square, table.T @ target)
    own = ways.index((0, 0))
    spilt = np.zeros_like(given)
    for number, one in enumerate(around):
        if number != own:
            spilt += np.float32(kernel[number]) * one
    return spilt


def _confidence(
    along: NDArray[np.float32],
    second: NDArray[np.float32],
    swing: NDArray[np.float32],
    noise: NDArray[np.float32],
    words: int,
) -> Floats:
    """That the best word is right, by Bayes' rule with Gaussian noise and all words as likely.

    No less noise is assumed than a tenth of the swing.
    """
    spread = np.maximum(noise, 0.1 * np.abs(swing)).astype(np.float64) + 1e-12
    ahead = np.clip(swing * (along - second) / spread**2, 0, 700)
    return np.asarray(1 / (1 + max(words - 1, 1) * np.exp(-ahead)))
