"""The lattice of the LEDs in a picture, from the places where numbers blink.

It is laid through these places in two ways: as the plan has the numbers, and from one place to its
neighbours, whatever their numbers, so that it may bend and narrow with perspective and lens. A
homography with radial terms is fitted to each, and says where every cell must be, also the dark
ones. Which is right is judged by how many cells then show a number.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from emulator.arrays import Bools, Floats, Ints
from harness.survey.seen import Outline
from harness.survey.sighting import usual_step

_NEAR = 0.3  # of the pitch: how far a neighbour may be from where it is expected
_SEEDS = 24
_OFF = 0.35  # of the pitch: how far a place may be from the middle of its cell
_MANY = 10  # places in a row that tell perspective from noise
_AGREE = 0.2  # share of the places that may speak for the plan
SHINES = 0.35  # of the usual strength: a cell with an LED
MARGIN = 2  # cells around what was found


@dataclass(frozen=True)
class Lattice:
    """Cells in a picture: columns to the right, rows down, as the picture shows them.

    outline: of the picture, for (column, row) of the window. strength: (rows, columns) of the
    window's cells, 1 is usual; cells around the wall, about 0, are among them.
    """

    outline: Outline
    strength: Floats


@dataclass(frozen=True)
class Laid:
    """A lattice through some places. cells: (M, 2) column and row, from 0 on, of those in it."""

    outline: Outline
    cells: Ints

    def as_pictured(self) -> Laid:
        """The same with columns to the right and rows down in the picture, wherever the plan has
        them: numbers cannot tell a film that is turned or mirrored from a wall that is."""
        middle = self.cells.mean(axis=0)
        first, *ends = self.outline.pixels(middle + np.array([[0, 0], [1, 0], [0, 1]]))
        (right_x, right_y), (down_x, down_y) = (end - first for end in ends)
        move = np.zeros((3, 3))
        if abs(right_x * down_y) >= abs(right_y * down_x):
            move[0, 0], move[1, 1] = np.copysign(1, [right_x, down_y])
        else:
            move[1, 0], move[0, 1] = np.copysign(1, [down_x, right_y])
        move[2, 2] = 1
        return Laid(self.outline.of(move), self.cells @ move[:2, :2].astype(np.int64))


def lattices(
    places: Floats, strength: Floats, planned: Ints, shape: tuple[int, ...]
) -> Iterator[Laid]:
    """Lattices that might be the wall's.

    places: (M, 2) in a picture of that shape; strength: (M,) of each, 1 is usual; planned: (M, 2)
    column and row of the plan.
    """
    if len(places) < 3:
        return
    if _in_line(places):
        yield _along(planned, places, shape)
        return
    for cells, some in (_planned(places, planned), _grown(places, strength)):
        if len(cells) >= 4:
            laid = _laid(cells, some, places, shape)
            if laid is not None:
                yield laid


def _in_line(places: Floats) -> bool:
    """Whether the places are one row or column, which alone does not say how a wall lies."""
    thickness = np.linalg.svd(places - places.mean(axis=0), compute_uv=False)[1]
    return bool(thickness < 0.2 * usual_step(places) * np.sqrt(len(places)))


def _along(planned: Ints, places: Floats, shape: tuple[int, ...]) -> Laid:
    """The lattice of one row or column, as if cells were square."""
    import cv2  # of the extra `camera`

    along = int(np.ptp(planned[:, 1]) > np.ptp(planned[:, 0]))  # a row, or a column
    number = planned[:, along].astype(np.float64)
    many = len(places) >= _MANY
    *bend, slope, _ = np.polyfit(number, places, 2 if many else 1)
    step = slope + (2 * bend[0] * number[:, None] if many else np.zeros((len(number), 1)))
    aside = step[:, ::-1] * ((1, -1) if along else (-1, 1))  # a quarter turn
    beside = np.array([along, 1 - along])
    cells = np.concatenate([planned + k * beside for k in (0, 1, -1)]).astype(np.float64)
    at = np.concatenate([places + k * aside for k in (0, 1, -1)])
    if many:
        matrix, _ = cv2.findHomography(cells, at, cv2.RANSAC, _OFF * usual_step(places))
    else:
        affine, _ = cv2.estimateAffine2D(cells, at, method=cv2.LMEDS)
        matrix = np.vstack([affine, [0, 0, 1]])
    return Laid(without_lens(np.asarray(matrix, dtype=np.float64), shape), planned)


def _planned(places: Floats, planned: Ints) -> tuple[Ints, Floats]:
    """Cells of the plan, and places, that one homography brings together."""
    import cv2  # of the extra `camera`

    if len(places) < 4:
        return planned[:0], places[:0]
    reach = 2 * _OFF * usual_step(places)
    matrix, agree = cv2.findHomography(planned.astype(np.float64), places, cv2.RANSAC, reach)
    if matrix is None or agree.mean() < _AGREE:
        return planned[:0], places[:0]
    inside = agree.ravel() > 0
    return planned[inside], places[inside]


def _laid(cells: Ints, some: Floats, places: Floats, shape: tuple[int, ...]) -> Laid | None:
    """The model of some cells at their places, with all other places that fit it."""
    import cv2  # of the extra `camera`

    reach = _OFF * usual_step(some)
    matrix, _ = cv2.findHomography(cells.astype(np.float64), some, cv2.RANSAC, reach)
    if matrix is None:
        return None
    start = without_lens(np.asarray(matrix, dtype=np.float64), shape)
    return laid_near(fit_outline(cells, some, start), cells, places, shape)


def without_lens(matrix: Floats, shape: tuple[int, ...]) -> Outline:
    """An outline in a picture of (h, w), so far without lens distortion."""
    height, width = shape
    return Outline(matrix, (width / 2, height / 2), float(np.hypot(width, height) / 2))


def laid_near(outline: Outline, cells: Ints, places: Floats, shape: tuple[int, ...]) -> Laid | None:
    """An outline that is about right, fitted to all places that it has in cells near these.

    None if hardly any are.
    """
    from scipy.spatial import cKDTree  # of the extra `campaign`; slow to load

    for _ in range(3):
        beyond = np.maximum(np.ptp(cells, axis=0) // 2, 6)
        first, last = cells.min(axis=0) - beyond, cells.max(axis=0) + beyond
        grid = np.mgrid[first[0] : last[0] + 1, first[1] : last[1] + 1].reshape(2, -1).T
        at = outline.pixels(grid.astype(np.float64))
        ahead = np.isfinite(at).all(axis=1) & (np.abs(at) < 4 * max(shape)).all(axis=1)
        grid, at = grid[ahead], at[ahead]
        if len(grid) < 4:
            return None
        tree = cKDTree(at)
        away, nearest = tree.query(places)
        step = tree.query(at[nearest], k=2)[0][:, 1]
        order = np.argsort(away)
        _, one_a_cell = np.unique(nearest[order], return_index=True)
        own = order[one_a_cell]
        own = own[away[own] < _OFF * step[own]]
        if len(own) < 4:
            return None
        cells = grid[nearest[own]]
        outline = fit_outline(cells, places[own], outline)
    return Laid(outline, cells)


def _grown(blobs: Floats, strength: Floats) -> tuple[Ints, Floats]:
    """Cells (M, 2), column and row, of places that make the largest lattice, and these (M, 2)."""
    from scipy.spatial import cKDTree  # of the extra `campaign`; slow to load

    strong = np.flatnonzero(strength > 0.5)
    if len(strong) < 4:
        return np.zeros((0, 2), dtype=np.int64), blobs[:0]
    tree = cKDTree(blobs)
    middle = np.median(blobs[strong], axis=0)
    near = strong[np.argsort(((blobs[strong] - middle) ** 2).sum(axis=1))]
    seeds = near[:: max(len(near) // (3 * _SEEDS), 1)][:_SEEDS]
    best: tuple[Ints, Floats] | None = None
    for seed in seeds.tolist():
        for u, v in _steps_at(blobs, tree, seed):
            grown = _from_seed(blobs, tree, seed, u, v)
            if best is None or _filled(grown[0]) > _filled(best[0]):
                best = grown
        if best is not None and _filled(best[0]) > 0.8 * len(strong):
            break
    if best is None:
        return np.zeros((0, 2), dtype=np.int64), blobs[:0]
    return _unslanted(best[0]), best[1]


def _unslanted(cells: Ints) -> Ints:
    """The same cells by other steps, if they then fill their rectangle better."""
    for _ in range(2):
        slants = [
            np.array(slant) for k in range(-2, 3) for slant in ([[1, 0], [k, 1]], [[1, k], [0, 1]])
        ]
        cells = max((cells @ slant for slant in slants), key=_filled)
    return cells


def _filled(cells: Ints) -> float:
    """How many cells, less if they fill their rectangle badly: so do those of a slanted lattice."""
    return float(len(cells) ** 2 / np.prod(np.ptp(cells, axis=0) + 1.0))


def _steps_at(blobs: Floats, tree: object, seed: int) -> list[tuple[Floats, Floats]]:
    """Pairs of steps from a blob, to the right and down, that might span the lattice."""
    _, index = tree.query(blobs[seed], k=min(9, len(blobs)))  # type: ignore[attr-defined]
    ways = blobs[index[1:]] - blobs[seed]
    found: list[tuple[Floats, Floats]] = []
    for one in ways:
        for two in ways:
            cross = one[0] * two[1] - one[1] * two[0]
            sine = cross / (np.hypot(*one) * np.hypot(*two) + 1e-12)
            if sine < 0.5 or abs(one[0]) < abs(one[1]) or one[0] <= 0:
                continue
            # A lattice has its opposite neighbours too.
            away, _ = tree.query(blobs[seed] - np.array([one, two]))  # type: ignore[attr-defined]
            if (away < _NEAR * np.hypot(*one) + 0.5).sum() >= 1:
                found.append((one, two))
    found.sort(key=lambda pair: float(np.hypot(*pair[0]) * np.hypot(*pair[1])))
    return found[:4]


def _from_seed(blobs: Floats, tree: object, seed: int, u: Floats, v: Floats) -> tuple[Ints, Floats]:
    """Grow in waves: each known cell says where its four neighbours should be."""
    cell_of = np.full((len(blobs), 2), 1 << 20, dtype=np.int64)
    step = np.zeros((len(blobs), 2, 2))
    taken: set[tuple[int, int]] = {(0, 0)}
    cell_of[seed] = 0
    step[seed] = u, v
    known = np.zeros(len(blobs), dtype=bool)
    known[seed] = True
    wave = np.array([seed])
    while len(wave):
        after: list[int] = []
        for axis in (0, 1):
            for sign in (1, -1):
                way = sign * step[wave, axis]
                guess = blobs[wave] + way
                away, index = tree.query(guess)  # type: ignore[attr-defined]
                reach = _NEAR * np.hypot(way[:, 0], way[:, 1]) + 0.3
                for k in np.flatnonzero(away < reach).tolist():
                    blob, source = int(index[k]), int(wave[k])
                    cell = cell_of[source].copy()
                    cell[axis] += sign
                    place = (int(cell[0]), int(cell[1]))
                    if known[blob] or place in taken:
                        continue
                    known[blob] = True
                    taken.add(place)
                    cell_of[blob] = cell
                    step[blob] = step[source]
                    seen = sign * (blobs[blob] - blobs[source])
                    step[blob, axis] = 0.5 * step[source, axis] + 0.5 * seen
                    after.append(blob)
        wave = np.array(after, dtype=np.int64)
    return cell_of[known], blobs[known]


def part_of(lattice: Lattice, wall: Bools, size: tuple[int, ...]) -> Lattice:
    """The part of a lattice around the wall (rows, columns); cells outside the wall are dark.

    size: rows and columns of the whole wall. Where fewer cells shine than the wall has, there is
    room for the others on both sides.
    """
    own = np.where(wall, lattice.strength, 0.0)
    bounds = []
    for axis, whole in ((1, size[0]), (0, size[1])):
        lit = np.flatnonzero((own > SHINES).any(axis=axis))
        more = MARGIN + max(whole - (int(lit[-1]) - int(lit[0]) + 1), 0)
        bounds.append((int(lit[0]) - more, int(lit[-1]) + more + 1))
    (top, bottom), (left, right) = bounds
    strength = np.zeros((bottom - top, right - left))
    row, column = np.nonzero(own > 0)
    inside = (row >= top) & (row < bottom) & (column >= left) & (column < right)
    row, column = row[inside], column[inside]
    strength[row - top, column - left] = own[row, column]
    return replace(lattice, outline=lattice.outline.begun_at(left, top), strength=strength)


def fit_outline(cells: Ints | Floats, places: Floats, start: Outline) -> Outline:
    """Homography and radial terms by least squares, robust, for cells (M, 2) at places (M, 2)."""
    from scipy.optimize import least_squares  # of the extra `campaign`; slow to load

    cells = np.asarray(cells, dtype=np.float64)
    # Numbers of about 1 converge well: cells and pixels are counted from their middle.
    origin, size = cells.mean(axis=0), max(float(np.ptp(cells, axis=0).max()) / 2, 1.0)
    to_unit = np.array(
        [[1 / size, 0, -origin[0] / size], [0, 1 / size, -origin[1] / size], [0, 0, 1]]
    )
    to_pixels = np.array(
        [[start.scale, 0, start.centre[0]], [0, start.scale, start.centre[1]], [0, 0, 1]]
    )
    begin = np.linalg.inv(to_pixels) @ start.matrix @ np.linalg.inv(to_unit)
    begin = begin / begin[2, 2]
    bends = len(cells) >= 30  # fewer blobs cannot tell a bent lattice from noise

    def outline_of(values: Floats) -> Outline:
        matrix = to_pixels @ np.append(values[:8], 1.0).reshape(3, 3) @ to_unit
        radial = (float(values[8]), float(values[9])) if bends else start.radial
        return Outline(matrix, start.centre, start.scale, radial)

    def off(values: Floats) -> Floats:
        return np.asarray((outline_of(values).pixels(cells) - places).ravel())

    first = np.concatenate([begin.ravel()[:8], start.radial if bends else ()])
    found = least_squares(off, first, loss="soft_l1", f_scale=0.5, x_scale="jac", max_nfev=60)
    return outline_of(found.x)
