"""The lattice of the LEDs in a picture, from nothing but where it blinks.

Blobs are the maxima of the swing, smoothed to the pitch. A lattice grows from one of them to its
neighbours, so that it may bend and narrow with perspective and lens. A homography with radial
terms is fitted to it, and says where each cell must be, also where no blob was found.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from emulator.arrays import Bools, Floats, Ints
from harness.survey.seen import Outline
from harness.survey.shift import Picture32, vertices
from harness.survey.straight import by_cell, middles, straightened

_SCALES = (1.0, 0.7, 1.4, 0.5, 2.0)  # of the expected pitch
_SMOOTH = 0.2  # of the pitch: standard deviation of the blur
_NEAR = 0.3  # of the pitch: how far a neighbour may be from where it is expected
_SEEDS = 24
_SIDE = 8  # pixels a cell in a straight picture
SHINES = 0.35  # of the usual strength: a cell with an LED
MARGIN = 2  # cells around what was found


@dataclass(frozen=True)
class Lattice:
    """Cells in a picture: columns to the right, rows down, as the picture shows them.

    outline: of the picture, for (column, row) of the window. strength: (rows, columns) of the
    window's cells, 1 is usual; cells around the wall, about 0, are among them. found: cells with a
    blob of their own. off: by how much those are off the model, in pitches, root mean square.
    """

    outline: Outline
    strength: Floats
    found: int
    off: float


def lattice_of(image: Picture32, leds: int, pitch: float) -> Lattice | None:
    """The lattice of about `leds` blobs whose pitch is about so many pixels; None without one."""
    best: Lattice | None = None
    for scale in _SCALES:
        blobs, strength = _blobs(image, scale * pitch * _SMOOTH, leds)
        grown = _grown(blobs, strength) if len(blobs) >= 4 else None
        if grown is None:
            continue
        found = _fitted(image, *grown, scale * pitch * _SMOOTH)
        if found is None:
            continue
        if best is None or _worth(found, leds) > _worth(best, leds):
            best = found
        if best.found > 0.97 * leds and best.found < 1.1 * leds:
            break
    return best


def _worth(lattice: Lattice, leds: int) -> float:
    return min(lattice.found, 1.05 * leds) / leds - 2 * lattice.off


def _blobs(image: Picture32, sigma: float, leds: int) -> tuple[Floats, Floats]:
    """Places (M, 2) of the maxima of the smoothed picture, and how high they stand (M,)."""
    import cv2  # of the extra `camera`
    from scipy.ndimage import maximum_filter  # of the extra `campaign`; slow to load

    sigma = max(sigma, 0.7)
    smooth = cv2.GaussianBlur(image, (0, 0), sigma)
    response = smooth - cv2.GaussianBlur(image, (0, 0), 2.2 * sigma)
    size = 2 * max(round(1.2 * sigma), 1) + 1
    tops = (response == maximum_filter(response, size)) & (response > 0)
    tops[[0, -1]] = tops[:, [0, -1]] = False
    row, column = np.nonzero(tops)
    height = response[row, column].astype(np.float64)
    if not len(height):
        return np.zeros((0, 2)), height
    order = np.argsort(-height)
    usual = float(np.median(height[order[: max(leds, 1)]]))
    kept = order[: 3 * leds + 50]
    kept = kept[height[kept] > 0.12 * usual]
    row, column = row[kept], column[kept]
    x = column + vertices(response[row, column - 1], height[kept], response[row, column + 1])
    y = row + vertices(response[row - 1, column], height[kept], response[row + 1, column])
    return np.stack([x, y], axis=1), height[kept] / usual


def _grown(blobs: Floats, strength: Floats) -> tuple[Ints, Floats] | None:
    """Cells (M, 2), column and row, of blobs that make the largest lattice, and places (M, 2)."""
    from scipy.spatial import cKDTree  # of the extra `campaign`; slow to load

    tree = cKDTree(blobs)
    strong = np.flatnonzero(strength > 0.5)
    if len(strong) < 4:
        return None
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
    if best is None or len(best[0]) < 4:
        return None
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


def _fitted(image: Picture32, cells: Ints, places: Floats, sigma: float) -> Lattice | None:
    """The model of grown cells, and the window of cells around them."""
    import cv2  # of the extra `camera`

    height, width = image.shape
    matrix, _ = cv2.findHomography(cells.astype(np.float64), places, cv2.RANSAC, 0.5 + 2 * sigma)
    if matrix is None:
        return None
    outline = fit_outline(
        cells,
        places,
        Outline(
            np.asarray(matrix, dtype=np.float64),
            (width / 2, height / 2),
            float(np.hypot(width, height) / 2),
        ),
    )
    beyond = np.maximum(np.ptp(cells, axis=0) // 4, 4)
    first, last = cells.min(axis=0) - beyond, cells.max(axis=0) + beyond
    outline, strength, found, off = settled(image, outline.begun_at(*first), last - first + 1)
    if found < 4:
        return None
    shines = strength > SHINES
    rows, columns = np.flatnonzero(shines.any(axis=1)), np.flatnonzero(shines.any(axis=0))
    top, left = rows[0] - MARGIN, columns[0] - MARGIN
    shape = int(rows[-1] + MARGIN - top + 1), int(columns[-1] + MARGIN - left + 1)
    outline = outline.begun_at(left, top)
    straight = straightened(image, outline, shape, _SIDE)
    strength = middles(np.asarray(cv2.GaussianBlur(straight, (0, 0), _SIDE * _SMOOTH)), _SIDE)
    usual = float(np.median(strength[strength > 0.35 * np.quantile(strength, 0.95)]))
    return Lattice(outline, strength / max(usual, 1e-12), found, off)


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


def settled(image: Picture32, outline: Outline, size: Ints) -> tuple[Outline, Floats, int, float]:
    """The outline fitted to where each cell of a window shines most; how strong each is.

    Also how many cells have their top near their middle, and how far from it, root mean square.
    """
    import cv2  # of the extra `camera`

    shape = int(size[1]), int(size[0])
    strength, found, off = np.zeros(shape), 0, 1.0
    for _ in range(3):
        straight = straightened(image, outline, shape, _SIDE)
        blurred = cv2.GaussianBlur(straight, (0, 0), _SIDE * _SMOOTH)
        smooth = np.asarray(blurred, dtype=np.float32)
        cells = by_cell(smooth, _SIDE)
        inner = cells[..., 1:-1, 1:-1].reshape(*shape, -1)
        at = inner.argmax(axis=-1)
        y, x = at // (_SIDE - 2) + 1, at % (_SIDE - 2) + 1
        top = inner.max(axis=-1).astype(np.float64)
        if top.max() <= 0:
            return outline, strength, 0, 1.0
        strength = top / max(float(np.median(top[top > 0.35 * np.quantile(top, 0.95)])), 1e-12)
        row, column = np.nonzero(
            (strength > SHINES) & (x > 1) & (x < _SIDE - 2) & (y > 1) & (y < _SIDE - 2)
        )
        if len(row) < 4:
            return outline, strength, 0, 1.0
        high = row * _SIDE + y[row, column]
        wide = column * _SIDE + x[row, column]
        tops = smooth[high, wide].astype(np.float64)
        right = vertices(smooth[high, wide - 1], tops, smooth[high, wide + 1])
        down = vertices(smooth[high - 1, wide], tops, smooth[high + 1, wide])
        place = np.stack([wide + right + 0.5, high + down + 0.5], axis=1) / _SIDE - 0.5
        cell = np.stack([column, row], axis=1).astype(np.float64)
        miss = np.hypot(*(place - cell).T)
        found, off = len(row), float(np.sqrt((miss**2).mean()))
        outline = fit_outline(cell, outline.pixels(place), outline)
    return outline, strength, found, off


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
