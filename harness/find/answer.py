"""What a person says of a picture: one word for each LED, and how well it fits what is shown.

People slip: they miss a cell, take the next one, or say dark for dim. A slip of one cell has a
probability; it is not known beforehand how careful somebody is, so three are tried and weighed by
how well they explain all answers. All of these are assumptions, no source.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Floats

# The words for an LED. From COLOUR on: it is lit in that colour instead, in the order of COLOURS.
# MIXED: of a large area of which somebody says that it is wrong; some of it may be right.
FINE, DARK, WRONG, FLICKERS, UNSURE, DIM, BRIGHT, SPOT, MIXED, COLOUR = range(10)
COLOURS = ("red", "yellow", "green", "cyan", "blue", "magenta", "white")  # as the eye's symbols
WORDS = COLOUR + len(COLOURS)

SLIPS = np.array([1e-4, 1e-2, 5e-2])  # of a cell
WEIGHTS = np.array([0.5, 0.3, 0.2])

_LITTLE, _SOME, _EASY, _HARD = 0.1, 0.3, 0.5, 0.7  # of a slip: dark for dim is half of one
_BASES = 2 + 3 * len(COLOURS)  # symbols of the eye without a spot
_SPOTS = 4
FLICKER, UNKNOWN = _BASES * _SPOTS, _BASES * _SPOTS + 1  # symbols beside those of the eye

Seen = NDArray[np.uint8]  # (N,) a word for each LED
Symbols = NDArray[np.uint8]  # of the eye, and FLICKER and UNKNOWN: (N,), or (Q, N)


def _fits() -> Floats:
    """How many slips (WORDS, symbols) each word is away from what the eye's symbols say."""
    symbol = np.arange(_BASES * _SPOTS)
    base, spot = symbol % _BASES, symbol // _BASES > 0
    planned, dark = (base == 0) & ~spot, base == 1
    other = ~planned & ~dark
    colour = np.where(base >= 2, (base - 2) // 3, -1)
    level = np.where(base >= 2, (base - 2) % 3, 1)
    only_spot = (base == 0) & spot
    slips = np.ones((WORDS, UNKNOWN + 1))
    eye = slips[:, : len(symbol)]
    weaker = other & (level == 0)
    eye[FINE] = np.select([planned, only_spot, weaker], [0, _EASY, _HARD], 1)
    eye[DARK] = np.select([dark, weaker], [0, _HARD], 1)
    eye[WRONG] = np.select([weaker, other, dark], [_SOME, 0, _EASY], 1)
    eye[FLICKERS] = np.where(planned, 1, _EASY)
    eye[UNSURE] = 0
    eye[MIXED] = np.where(planned, _LITTLE, 0)
    eye[DIM] = np.select([weaker, dark, other], [0, _EASY, _EASY], 1)
    eye[BRIGHT] = np.select([other & (level == 2), other], [0, _EASY], 1)
    eye[SPOT] = np.select([spot, other], [0, _EASY], 1)
    ring = len(COLOURS) - 1
    for number in range(len(COLOURS)):
        apart = (colour - number) % ring
        near = (colour == ring) | (number == ring) | (apart == 1) | (apart == ring - 1)
        same = other & (colour == number)
        eye[COLOUR + number] = np.select([same, other & near], [0, _EASY], 1)
    # A thing that flickers may look right, or wrong in some way, while somebody looks.
    slips[:, FLICKER] = _HARD
    slips[[WRONG, DARK, MIXED], FLICKER] = _EASY
    slips[FLICKERS, FLICKER] = slips[UNSURE, FLICKER] = 0
    slips[:, UNKNOWN] = 0  # `harness.find.chance` says how likely the words are
    return slips


FITS = _fits()


def spoken(symbols: NDArray[np.uint8], colours: bool) -> NDArray[np.uint8]:
    """The word that a careful person has for each symbol of the eye, of any shape.

    colours: whether they name colours; a person who paints says wrong.
    """
    return (_NAMES if colours else _PAINTS)[symbols]


def _spoken(colours: bool) -> NDArray[np.uint8]:
    """The words for all symbols."""
    symbol = np.arange(_BASES * _SPOTS)
    base, spot = symbol % _BASES, symbol // _BASES > 0
    lit = np.where((base - 2) % 3 == 0, DIM, COLOUR + (base - 2) // 3 if colours else WRONG)
    spots = SPOT if colours else WRONG
    words = np.select([base == 1, base >= 2, spot], [DARK, lit, spots], FINE)
    return np.append(words, [FLICKERS, UNSURE]).astype(np.uint8)


def log_likelihood(slips: Floats, cells: float) -> Floats:
    """Natural logarithm of the probability of answers that are `slips` (F,) away, of `cells`."""
    each = (
        np.log(WEIGHTS)
        + slips[:, None] * np.log(SLIPS)
        + np.maximum(cells - slips[:, None], 0) * np.log1p(-SLIPS)
    )
    most = each.max(axis=1)
    return np.asarray(most + np.log(np.exp(each - most[:, None]).sum(axis=1)))


_NAMES, _PAINTS = _spoken(colours=True), _spoken(colours=False)
