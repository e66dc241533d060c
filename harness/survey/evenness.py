"""How bright each cell is beside what its surroundings let expect.

A telephone darkens the corners of its picture, and bare LEDs seem darker from the side. Both change
slowly over the wall. So the light of each colour is held against a smooth surface through the wall,
a polynomial in column and row of its logarithm, which single cells and short pieces hardly move:
fitted again and again, with less weight for cells that are far off (Tukey's biweight; Beaton and
Tukey, Technometrics 16, 1974).
"""

from __future__ import annotations

import numpy as np

from emulator.arrays import Bools, Floats

# Of the median of the cells that were read: a cell below is dark, or shows another colour, unless
# its number was read; one that was read and is below the second does not light in this colour.
_FAINT, _NOTHING = 0.2, 0.02
_TUKEY = 4.685  # scales, for 95 % efficiency on normal errors
_ROUNDS = 8
_LEAST_SCALE = 0.01  # of a logarithm: an exact film would have none
_LEAST_CELLS = 4  # along a side, for each order in that direction
_ORDERS = ((120, 4), (30, 2), (12, 1))  # cells from which on a surface may have that order


def beside_smooth(light: Floats, there: Bools, read: Bools) -> Floats:
    """(rows, columns, C) each cell's light as a share of the smooth surface; NaN where unknown.

    light: (rows, columns, C) linear, NaN unknown, each C by itself. there: (rows, columns) cells
    that have an LED. read: (rows, columns) those whose number was read, so that they are lit.
    """
    share = np.full(light.shape, np.nan)
    for colour in range(light.shape[2]):
        share[..., colour] = _of_one(light[..., colour], there, read)
    return share


def _of_one(light: Floats, there: Bools, read: Bools) -> Floats:
    known = there & np.isfinite(light)
    lit = known & (light > 0)
    sure = lit & read if (lit & read).any() else lit  # most of the wall may be dark
    if lit.any():
        lit &= light > np.where(read, _NOTHING, _FAINT) * np.median(light[sure])
    if not lit.any():
        return np.where(known, 0.0, np.nan)  # a colour that the whole wall lacks
    order = next((order for cells, order in _ORDERS if lit.sum() >= cells), 0)
    terms = _terms(light.shape, order)
    log = np.log(light[lit])
    surface = _fitted(terms[lit], log, terms)
    # Beyond the cells that it was fitted to, a surface may run away.
    surface = np.clip(surface, surface[lit].min(), surface[lit].max())
    return np.where(known, light / np.exp(surface), np.nan)


def _terms(shape: tuple[int, ...], order: int) -> Floats:
    """(rows, columns, terms) products of powers of column and row up to an order together, and of
    each up to what does not follow a single row or column."""
    rows, columns = shape
    y, x = np.meshgrid(np.linspace(-1, 1, rows), np.linspace(-1, 1, columns), indexing="ij")
    most_x, most_y = (min(order, count // _LEAST_CELLS) for count in (columns, rows))
    each = [x**a * y**b for a in range(most_x + 1) for b in range(most_y + 1) if a + b <= order]
    return np.stack(each, axis=-1)


def _fitted(terms: Floats, log: Floats, everywhere: Floats) -> Floats:
    """The surface (rows, columns) through logarithms (M,) at terms (M, T)."""
    factors: Floats = np.zeros(terms.shape[1])
    factors[0] = np.median(log)
    for number in range(2 * _ROUNDS):
        off = log - terms @ factors
        scale = max(1.4826 * float(np.median(np.abs(off))), _LEAST_SCALE)
        # The least absolute deviations first, which have one minimum; the biweight has many.
        weight = (
            1 / np.sqrt(np.maximum(np.abs(off), _LEAST_SCALE))
            if number < _ROUNDS
            else np.clip(1 - (off / (_TUKEY * scale)) ** 2, 0, None)
        )
        found = np.linalg.lstsq(terms * weight[:, None], log * weight, rcond=None)[0]
        factors = np.asarray(found, dtype=np.float64)
    return np.asarray(everywhere @ factors)
