"""The pictures of the examination, and the order in which they are sent.

All pictures have the same colours on each line, in different places. So all draw the same current,
and code that limits it dims all of them by the same factor. Most channels are dark or full, which
every curve keeps apart; some are in between.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from emulator.description.display import Display

PICTURES = 7
ROUNDS = 2
_DARK, _FULL = 0.45, 0.80  # below, dark; from there on levels; above, full
_FEW = 16  # LEDs: a shorter line is too short to shuffle, so each picture has its own colours
_SEED = 20  # any: the pictures are the same in every run


def pictures(display: Display) -> NDArray[np.uint8]:
    """(PICTURES, rows, columns, 3) sRGB, with a different colour of each LED in most of them."""
    rng = np.random.default_rng(_SEED)
    rows, columns, _ = display.picture_shape
    drawn = np.zeros((PICTURES, rows * columns, 3), dtype=np.uint8)
    wiring = display.wiring.without_hidden
    for line in range(len(wiring.line_names)):
        cells = wiring.cell[wiring.line == line]
        colours = _colours(rng, len(cells))
        for picture in drawn:
            picture[cells] = rng.permutation(colours)
            if len(cells) < _FEW:
                picture[cells] = _colours(rng, len(cells))
    return drawn.reshape(PICTURES, rows, columns, 3)


def order() -> NDArray[np.intp]:
    """(T,) which picture is sent when, T = ROUNDS · PICTURES².

    In each round every picture follows every picture once, itself too (an Eulerian circuit of the
    complete graph [1]). All rounds are the same: answers that depend on earlier pictures repeat,
    random ones do not.

    [1] C. Hierholzer, Math. Annalen 6 (1873), 30-32: joins circles into one circuit.
    """
    rng = np.random.default_rng(_SEED)
    left = [rng.permutation(PICTURES).tolist() for _ in range(PICTURES)]
    path, circuit = [0], []
    while path:
        if left[path[-1]]:
            path.append(left[path[-1]].pop())
        else:
            circuit.append(path.pop())
    return np.tile(circuit[:-1], ROUNDS)


def _colours(rng: np.random.Generator, count: int) -> NDArray[np.uint8]:
    share = rng.random((count, 3))
    level = 255 * (share - _DARK) / (_FULL - _DARK)
    return np.clip(level, 0, 255).astype(np.uint8)
