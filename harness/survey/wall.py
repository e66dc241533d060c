"""The wall in the pictures of a film: the lattice at whose cells most numbers are read."""

from __future__ import annotations

import numpy as np

from emulator.arrays import Bools, Floats
from emulator.description.display import Display
from harness.survey.decoding import Read, read_cells, usual_swing
from harness.survey.lattice import (
    MARGIN,
    Laid,
    Lattice,
    laid_near,
    lattices,
    part_of,
    without_lens,
)
from harness.survey.placing import wall_in
from harness.survey.seen import Outline
from harness.survey.shift import Picture32
from harness.survey.sighting import Sighted
from harness.survey.straight import middles, straight_map

_SIDE = 4  # pixels a cell in a straight picture
_FEWEST = 4  # LEDs that say where the wall is
_UNREAD = 0.5  # of the usual swing: an LED, though its number cannot be read


def wall_of(swings: Picture32, found: Sighted, words: Bools, display: Display) -> Lattice | None:
    """The wall in a picture whose points swing so (`swings_of`); None if hardly a number is there.

    found: where numbers blink in it. words: (N, B) of the LEDs.
    """
    wiring = display.wiring
    planned = np.stack([wiring.column, wiring.row], axis=1)[wiring.placed]
    best: tuple[float, Lattice] | None = None
    through = lattices(found.places, found.swing, planned[found.number], swings.shape[1:])
    for laid in map(Laid.as_pictured, through):
        beyond = np.maximum(np.ptp(laid.cells, axis=0) // 4, 2 * MARGIN)
        first, last = laid.cells.min(axis=0) - beyond, laid.cells.max(axis=0) + beyond
        outline = laid.outline.begun_at(*first)
        columns, rows = last - first + 1
        read = read_cells(2 * at_lattice(swings, outline, (int(rows), int(columns))), words)
        if read.found >= min(_FEWEST, len(words)) and (best is None or read.worth > best[0]):
            best = read.worth, Lattice(outline, _strength(read))
    if best is None:
        return None
    lattice = best[1]
    return part_of(lattice, *wall_in(lattice.strength, ~display.gap))


def wall_at(corners: Floats, shape: tuple[int, ...], found: Sighted, display: Display) -> Lattice:
    """The wall whose corner cells people have shown, about, in a picture of (h, w).

    corners: (4, 2) pixels, clockwise from the wall's top left. found: where numbers blink.
    """
    import cv2  # of the extra `survey`

    rows, columns = display.gap.shape
    right, low = columns - 1, rows - 1
    ends = np.array([[0, 0], [right, 0], [right, low], [0, low]])
    matrix = cv2.getPerspectiveTransform(ends.astype(np.float32), corners.astype(np.float32))
    outline = without_lens(np.asarray(matrix, dtype=np.float64), shape)
    # People click a few pixels beside the middles; the LEDs correct that.
    laid = laid_near(outline, ends, found.places, shape) if len(found.places) else None
    outline = (outline if laid is None else laid.outline).begun_at(-MARGIN, -MARGIN)
    return Lattice(outline, np.pad((~display.gap).astype(np.float64), MARGIN))


def at_lattice(swings: Picture32, outline: Outline, shape: tuple[int, ...]) -> Floats:
    """(B, rows, columns) how the cells of a lattice swing; a bit not seen is NaN."""
    import cv2  # of the extra `camera`

    cells = np.full((len(swings), *shape), np.nan)
    x, y = straight_map(outline, shape, _SIDE)
    for bit in np.flatnonzero(~np.isnan(swings).all(axis=(1, 2))).tolist():
        cells[bit] = middles(np.asarray(cv2.remap(swings[bit], x, y, cv2.INTER_LINEAR)), _SIDE)
    return cells


def astray(read: Read, outline: Outline, found: Sighted, leds: int) -> Bools:
    """(leds,) numbers that cells show, though they blink nearer the middles of others: there the
    lattice lies wrong. found: where numbers blink, in the picture of the outline."""
    from scipy.spatial import cKDTree  # of the extra `campaign`; slow to load

    middles = outline.middles(read.shown.shape)
    _, nearest = cKDTree(middles.reshape(-1, 2)).query(found.places)
    shown = read.shown.ravel()[nearest]
    right = np.zeros(leds, dtype=np.bool_)
    right[found.number[shown == found.number]] = True
    sighted = np.zeros_like(right)
    sighted[found.number] = True
    return sighted & ~right


def _strength(read: Read) -> Floats:
    """(rows, columns) how strong each cell is, 1 is usual, 0 for one that is dark."""
    usual = usual_swing(read)
    size = np.sqrt(np.nanmean(read.own**2, axis=0)) / usual
    lit = np.where(~read.clear & (size > _UNREAD), size, 0.0)
    return np.where(read.shown >= 0, read.swing / usual, lit)
