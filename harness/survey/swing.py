"""How each point of the picture swings between each bit and its inverse, roughly.

Nothing is known of the wall yet, so all that helps is in the pictures: a picture and its inverse
show the opposite, and the sum of both shows all LEDs, as the picture with all on does. Small
pictures suffice, as `landmarks` lays them better once some numbers are known.
"""

from __future__ import annotations

import numpy as np

from emulator.arrays import Floats
from harness.patterns.film import FilmStep
from harness.survey.shift import Details, Picture32, moved, peak
from harness.survey.shots import Shot, Shots, light_of
from harness.survey.tracking import warped

_PITCH = 6.0  # pixels that remain from one LED to the next
_BLURS = (1.0, 0.15)  # of the pitch: standard deviations, first without cells, then with them
_TURNED = 0.1  # and stretched, by less: no hand does more between two pictures
_SMOOTH = 0.2  # of the pitch: standard deviation of the blur before pictures are compared

Shift = tuple[float, float]


def rough_swings(shots: Shots, steps: tuple[FilmStep, ...]) -> tuple[Picture32, float]:
    """(B, h, w) half of bit less inverse, all registered to one picture; a bit not seen is NaN.

    And how many times larger a shot is.
    """
    bits = max(step.bit for step in steps) + 1
    larger = max(shots.pitch / _PITCH, 1.0)
    swings: Picture32 | None = None
    whole: _Whole | None = None
    waiting: tuple[int, Picture32] | None = None
    for _, number, some in shots.pictures():
        step = steps[number]
        if step.shows not in ("on", "bit", "inverse"):
            continue
        now = _mean(some, larger)
        if step.shows == "on":
            whole = _Whole(now, shots.pitch / larger)
        elif step.shows == "bit":
            waiting = step.bit, now
        elif waiting is not None and waiting[0] == step.bit:
            if whole is None:
                whole = _Whole(waiting[1] + now, shots.pitch / larger)
            if swings is None:
                swings = np.full((bits, *now.shape), np.nan, dtype=np.float32)
            swings[step.bit] = whole.swing(waiting[1], now)
    return np.full((bits, 1, 1), np.nan, np.float32) if swings is None else swings, larger


def _mean(some: list[Shot], larger: float) -> Picture32:
    """Of the frames of a picture, as they lie: in each the shutter may catch other LEDs dark."""
    import cv2  # of the extra `camera`

    light = np.mean([light_of(shot.light) for shot in some], axis=0)
    size = tuple(max(int(side / larger), 1) for side in light.shape[::-1])
    return np.asarray(cv2.resize(light, size, interpolation=cv2.INTER_AREA), dtype=np.float32)


class _Whole:
    """A picture of all LEDs, onto which the others are laid."""

    def __init__(self, picture: Picture32, pitch: float) -> None:
        self._pitch = pitch
        self._picture = picture
        self._details = Details(picture, coarse=max(picture.shape))
        self._plain = self._compared(picture)
        self._last: Shift = (0.0, 0.0)

    def swing(self, picture: Picture32, inverse: Picture32) -> Picture32:
        """Half of a picture less its inverse, as they lie on the whole.

        Of few LEDs, or in noise, correlation finds anything: a way that it finds must make the sum
        of both look more like the whole than the way of before, or none.
        """
        found = peak(-Details(inverse).against(Details(picture)), reach=2.5 * self._pitch)
        tries = []
        for way in ((0.0, 0.0), found[:2]):
            other = moved(inverse, -way[0], -way[1])
            both = picture + other
            for shift in (self._last, self._shift(both)):
                tries.append((self._like(moved(both, -shift[0], -shift[1])), shift, other))
        _, (x, y), inverse = max(tries, key=lambda one: one[0])
        self._last = x, y
        # The hand turns the camera too: at the edges by more than a cell, so first without cells.
        warp = np.array([[1, 0, x], [0, 1, y], [0, 0, 1]])
        for blur in _BLURS:
            sigma = max(blur * self._pitch, 0.6)
            both = self._laid(picture + inverse, warp)
            more, _ = warped(_blurred(both, sigma), _blurred(self._picture, sigma))
            if np.abs(more[:2, :2] - np.eye(2)).max() < _TURNED:
                warp = warp @ more
        return self._laid((picture - inverse) * np.float32(0.5), warp)

    @staticmethod
    def _laid(picture: Picture32, warp: Floats) -> Picture32:
        """A picture as `warp` (3, 3) says that the whole lies in it."""
        import cv2  # of the extra `camera`

        size = (picture.shape[1], picture.shape[0])
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        return np.asarray(cv2.warpAffine(picture, warp[:2], size, flags=flags), dtype=np.float32)

    def _shift(self, both: Picture32) -> Shift:
        """Where both overlap most with the whole, and near there, where their details do."""
        details = Details(both, coarse=max(both.shape))
        x, y, _ = peak(details.against(self._details, whitened=False))
        x, y, _ = peak(details.against(self._details), (x, y), reach=max(0.48 * self._pitch, 1.5))
        return x, y

    def _like(self, both: Picture32) -> float:
        return float((self._compared(both) * self._plain).sum())

    def _compared(self, picture: Picture32) -> Picture32:
        """Without noise and mean, and of size 1."""
        smooth = _blurred(picture, max(_SMOOTH * self._pitch, 0.7))
        smooth = smooth - smooth.mean()
        return np.asarray(smooth / max(float(np.linalg.norm(smooth)), 1e-12), dtype=np.float32)


def _blurred(picture: Picture32, sigma: float) -> Picture32:
    import cv2  # of the extra `camera`

    return np.asarray(cv2.GaussianBlur(picture, (0, 0), sigma), dtype=np.float32)
