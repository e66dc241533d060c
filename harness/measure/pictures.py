"""The measuring pictures: a few pictures with every level of every channel, several on each LED.

Each cell of a picture has a different level, as in a Latin square. In one picture a third of the
cells are red, a third green and a third blue; this changes from picture to picture. The levels
1…255 are distributed so that each occurs in every channel, and each LED gets levels from all parts
of the range. Pictures of greys and of random mixtures follow. From 64 LEDs on, this takes 24
pictures; a smaller wall takes more, since it must show all 768 pairs of level and channel.

A current limit dims whole pictures. References separate it from the code's own levels: a few
cells that stay the same in all pictures of levels, and in one picture where nothing else is lit.
Two sets of references alternate, so that no cell is left out. The pictures of levels ask for a
tenth (single channels) to a third (greys) of full white's light.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bytes, Ints

RED, GREEN, BLUE, WHITE, HALF, DARK = range(6)  # the plain pictures, which come first
HALF_LEVEL = 128
_REFERENCE_LEVELS = (255, 160)  # two, since the code may show one of them as dark
_LEAST_CELLS = 8  # with fewer cells, none is used as a reference
_MIXTURES = 96  # at least, in all pictures together


@dataclass(frozen=True)
class MeasuringPictures:
    """values: (T, M, 3) uint8 sRGB of the M cells that hold an LED, row by row.

    references: (T, M) bool, cells that only show how far a picture is dimmed. alone: (T,) the
    picture in which the same references are lit alone; -1 if a picture has none. single, grey,
    mixed: (T,) bool, what the other cells of a picture contain.
    """

    values: Bytes
    references: NDArray[np.bool_]
    alone: Ints
    single: NDArray[np.bool_]
    grey: NDArray[np.bool_]
    mixed: NDArray[np.bool_]


@lru_cache(maxsize=4)
def measuring_pictures(cells: int) -> MeasuringPictures:
    """The pictures for a number of cells that hold an LED; the same ones each time."""
    rng = np.random.default_rng(1)
    marks = max(2, cells // 64) if cells >= _LEAST_CELLS else 0
    chosen = rng.permutation(cells)[: 2 * marks].reshape(2, marks)
    free = cells - marks  # of a picture
    rounds = max(4, -(-255 // max(free - marks, 1)))  # visits of each cell to each channel
    greys = max(6, -(-255 // max(free - marks, 1)))
    mixtures = max(6, -(-_MIXTURES // free))
    spared = np.zeros((2, cells), dtype=np.bool_)
    spared[np.arange(2)[:, None], chosen] = True

    single = _shared_out(rng, rounds, spared, 3)
    channel = (np.arange(cells) + np.arange(3 * rounds)[:, None]) % 3
    singles = single[..., None] * (channel[..., None] == np.arange(3))
    levels = _shared_out(rng, greys, spared, 1)
    grey = np.repeat(levels[..., None], 3, axis=-1)
    mixed = rng.integers(0, 256, (mixtures, cells, 3)).astype(np.uint8)
    mixed[rng.random(mixed.shape) < 0.25] = 0

    plain = np.zeros((6, cells, 3), dtype=np.uint8)
    for colour in (RED, GREEN, BLUE):
        plain[colour, :, colour] = 255
    plain[WHITE], plain[HALF] = 255, HALF_LEVEL
    alone = np.zeros((2, cells, 3), dtype=np.uint8)
    values = np.concatenate([plain, alone, singles, grey, mixed])

    first = len(plain) + len(alone)  # of the pictures of levels
    kind = np.repeat([0, 1, 2, 3], [first, len(singles), len(grey), len(mixed)])
    turn = np.arange(len(values)) % 2
    references = spared[turn] & ((kind > 0) | (np.arange(len(values)) >= len(plain)))[:, None]
    for first_of, level in enumerate(_REFERENCE_LEVELS):
        lit = np.zeros(cells, dtype=np.bool_)
        lit[chosen[:, first_of::2]] = True
        values[references & lit] = level
    return MeasuringPictures(
        values,
        references,
        np.where((kind > 0) & (marks > 0), len(plain) + turn, -1),
        kind == 1,
        kind == 2,
        kind == 3,
    )


def _shared_out(
    rng: np.random.Generator, parts: int, spared: NDArray[np.bool_], channels: int
) -> Bytes:
    """Levels (channels · parts, M): for each cell and channel one from each of `parts` of 1…255.

    Within a channel and part the levels occur equally often, in random order.
    """
    pictures, cells = channels * parts, spared.shape[1]
    place = rng.permutation(cells)
    picture, cell = np.ogrid[:pictures, :cells]
    part = (picture // channels + place[cell]) % parts
    group = (cell + picture) % channels * parts + part
    bounds = np.round(np.linspace(1, 256, parts + 1)).astype(np.int64)
    free = ~spared[np.arange(pictures) % 2]
    levels = np.zeros((pictures, cells), dtype=np.uint8)
    for number in range(channels * parts):
        own = np.flatnonzero((group == number) & free)
        low, high = bounds[number % parts], bounds[number % parts + 1]
        levels.flat[own] = low + rng.permutation(own.size) % (high - low)
    return levels
