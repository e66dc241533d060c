"""The light on a front summed directly over all LEDs in float64, written without the package.

Every LED's (and every mirror image's) E = I0·cos^(m+3) θ/h² on a fine grid of Gauss-Legendre
nodes, the mean over the square that the light comes from, cut off at the walls, then blurred by
integrating it against a Gaussian.
"""

from __future__ import annotations

import numpy as np

from emulator import Display

NODES = 70


def srgb_codes(light: np.ndarray) -> np.ndarray:
    """The curve of IEC 61966-2-1, written independently."""
    light = np.clip(light, 0, 1)
    value = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.round(255 * value)


def blur_mm(display: Display, width: int) -> float:
    """Scatter, one arcminute at the distance (width at half height), a pixel's own area."""
    arcminute = np.tan(np.pi / 180 / 60) * display.view.distance_m * 1000
    pixel = display.grid.columns * display.grid.pitches_mm[0] / width
    parts = display.cover.scatter_mm, arcminute / np.sqrt(8 * np.log(2)), pixel / np.sqrt(12)
    return float(np.linalg.norm(parts))


def direct_lux(display: Display, cells: np.ndarray, width: int, height: int) -> np.ndarray:
    """(height, width, 3) lux behind the front for LEDs of one candela times cells."""
    grid, cover, blur = display.grid, display.cover, blur_mm(display, width)
    half = np.radians(display.chip.half_angle_deg)
    power = (np.log(0.5) / np.log(np.cos(half)) + 3) / 2
    pitches = grid.pitches_mm
    x = (np.arange(width) + 0.5) / width * grid.columns * pitches[0]
    y = (np.arange(height) + 0.5) / height * grid.rows * pitches[1]

    along_rows = display.wiring.column[0] != display.wiring.column[1]
    off = (0.0, cover.off_centre_mm) if along_rows else (cover.off_centre_mm, 0.0)
    side = display.chip.emitter_mm
    at, share = np.polynomial.legendre.leggauss(3 if side < 0.4 * cover.depth_mm else 9)
    if side == 0:
        at, share = np.zeros(1), np.full(1, 2.0)

    def point(u: np.ndarray, v: np.ndarray) -> np.ndarray:
        square = u[None, :] ** 2 + v[:, None] ** 2
        return (1000 / cover.depth_mm) ** 2 / (1 + square / cover.depth_mm**2) ** power

    def lux(u: np.ndarray, v: np.ndarray, turn: tuple[int, int] = (1, 1)) -> np.ndarray:
        """At u, v from the middle of a cell; turn: -1 where a mirror turns the LED about."""
        total = np.zeros((len(v), len(u)))
        for a, weight_a in zip(at, share, strict=True):
            for b, weight_b in zip(at, share, strict=True):
                x_off, y_off = (
                    t * (o + side / 2 * n) for t, o, n in zip(turn, off, (a, b), strict=True)
                )
                total += weight_a * weight_b / 4 * point(u - x_off, v - y_off)
        return total

    def nodes(low: float, high: float, count: int) -> tuple[np.ndarray, np.ndarray]:
        at, weight = np.polynomial.legendre.leggauss(count)
        return (low + high) / 2 + at * (high - low) / 2, weight * (high - low) / 2

    def blurring(pixels: np.ndarray, at: np.ndarray, weight: np.ndarray) -> np.ndarray:
        away = (pixels[:, None] - at[None, :]) / blur
        return np.exp(-(away**2) / 2) / blur / np.sqrt(2 * np.pi) * weight

    def spot(sides: list[float]) -> tuple[list[np.ndarray], list[np.ndarray], np.ndarray]:
        """Nodes, weights and light within one opening, mirror images added."""
        at, weight = zip(*(nodes(-s / 2, s / 2, NODES) for s in sides), strict=True)
        mirror = cover.wall_reflectance if cover.walls == "white" else 0.0
        images = range(-14, 15) if mirror else range(1)
        light = sum(
            mirror ** (abs(i) + abs(j))
            * lux(at[0] - i * sides[0], at[1] - j * sides[1], ((-1) ** i, (-1) ** j))
            for i in images
            for j in images
        )
        return list(at), list(weight), np.asarray(light)

    picture = np.zeros((height, width, 3))
    if cover.walls == "none":
        ends = [
            nodes(-6 * blur, n * p + 6 * blur, 30 + 25 * n)
            for n, p in zip((grid.columns, grid.rows), pitches, strict=True)
        ]
        onto_x, onto_y = blurring(x, *ends[0]), blurring(y, *ends[1])
        field = np.zeros((3, len(ends[1][0]), len(ends[0][0])))
        for row, column in np.argwhere(cells.any(axis=-1)):
            one = lux(
                ends[0][0] - (column + 0.5) * pitches[0], ends[1][0] - (row + 0.5) * pitches[1]
            )
            field += cells[row, column][:, None, None] * one
        for channel in range(3):
            picture[:, :, channel] = onto_y @ field[channel] @ onto_x.T
        return picture
    at, weight, light = spot([min(cover.opening_mm or p, p) for p in pitches])
    onto_x = [blurring(x, at[0] + (c + 0.5) * pitches[0], weight[0]) for c in range(grid.columns)]
    for row in range(grid.rows):
        onto_y = blurring(y, at[1] + (row + 0.5) * pitches[1], weight[1]) @ light
        for channel in range(3):
            lit = sum(cells[row, c, channel] * onto_x[c] for c in range(grid.columns))
            picture[:, :, channel] += onto_y @ np.asarray(lit).T
    return picture
