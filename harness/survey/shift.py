"""By how much one picture is shifted against another: correlation of their details.

Two pictures of the same content have a peak at their shift; a bit and its inverse have a hollow
there, and their periodic part, the lattice, does not hide it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bools, Floats

Picture32 = NDArray[np.float32]


class Details:
    """The spectrum of a picture's details, ready to be compared with others of the same size.

    coarse: pixels; much larger ones are left out.
    """

    def __init__(self, picture: Picture32, coarse: int = 12) -> None:
        import cv2  # of the extra `camera`
        from scipy import fft  # of the extra `campaign`; slow to load

        small = cv2.GaussianBlur(picture, (3, 3), 0.8) - cv2.blur(picture, (3 * coarse, 3 * coarse))
        height, width = picture.shape
        window = np.outer(_edge(height), _edge(width)).astype(np.float32)
        self.shape = fft.next_fast_len(height, True), fft.next_fast_len(width, True)
        self.spectrum = fft.rfft2(small * window, self.shape, workers=2)

    def against(self, other: Details, *, whitened: bool = True) -> Picture32:
        """The correlation at every shift of this one against the other.

        whitened: small details count more, so that the peak is sharp.
        """
        from scipy import fft  # of the extra `campaign`; slow to load

        cross = self.spectrum * np.conj(other.spectrum)
        if whitened:
            size = np.abs(cross)
            cross /= np.sqrt(size) * np.sqrt(size.mean()) + 1e-9 * size.max() + 1e-30
        return np.asarray(fft.irfft2(cross, self.shape, workers=2), dtype=np.float32)


def peak(
    correlation: Picture32, near: tuple[float, float] = (0.0, 0.0), reach: float | None = None
) -> tuple[float, float, float]:
    """x and y of the highest point, to a fraction of a pixel, and how far it stands out.

    near, reach: look only so far from there. The height is in standard deviations.
    """
    height, width = correlation.shape
    y = np.fft.fftfreq(height, 1 / height)
    x = np.fft.fftfreq(width, 1 / width)
    spread = float(correlation.std()) + 1e-12
    if reach is not None:
        rows = np.flatnonzero(np.abs(y - near[1]) <= reach)
        columns = np.flatnonzero(np.abs(x - near[0]) <= reach)
        part = correlation[np.ix_(rows, columns)]
        i, j = np.unravel_index(int(part.argmax()), part.shape)
        row, column = int(rows[i]), int(columns[j])
    else:
        row, column = (int(k) for k in np.unravel_index(int(correlation.argmax()), (height, width)))
    top = float(correlation[row, column])
    ups = correlation[(row - 1) % height, column], correlation[(row + 1) % height, column]
    sides = correlation[row, (column - 1) % width], correlation[row, (column + 1) % width]
    right, down = vertices(*np.array([[sides[0], ups[0]], [top, top], [sides[1], ups[1]]]))
    return float(x[column] + right), float(y[row] + down), top / spread


def vertices(
    before: NDArray[np.floating], top: NDArray[np.floating], after: NDArray[np.floating]
) -> Floats:
    """(M,) where between −½ and ½ parabolas through three points have their tops; 0 without one."""
    bend = np.asarray(before - 2 * top + after, dtype=np.float64)
    off = np.divide(0.5 * (before - after), bend, out=np.zeros_like(bend), where=bend < 0)
    return np.asarray(np.clip(off, -0.5, 0.5))


def within(points: NDArray[np.floating], shape: tuple[int, ...]) -> Bools:
    """(…) whether points (…, 2), x and y, are in a picture of (h, w)."""
    return np.asarray(((points >= 0) & (points <= np.array(shape[::-1]) - 1)).all(axis=-1))


def _edge(size: int) -> Floats:
    """1, falling smoothly to 0 over a twelfth at both ends: a picture is not periodic."""
    ramp = max(size // 12, 1)
    window = np.ones(size)
    fall = 0.5 - 0.5 * np.cos(np.pi * (np.arange(ramp) + 0.5) / ramp)
    window[:ramp], window[-ramp:] = fall, fall[::-1]
    return window


def moved(picture: Picture32, x: float, y: float) -> Picture32:
    """The picture moved by (x, y) pixels."""
    import cv2  # of the extra `camera`

    matrix = np.array([[1, 0, x], [0, 1, y]], dtype=np.float64)
    size = (picture.shape[1], picture.shape[0])
    return np.asarray(cv2.warpAffine(picture, matrix, size, borderMode=cv2.BORDER_REPLICATE))
