"""How each point of the picture swings between each bit and its inverse, while the hand shakes.

Nothing is known of the wall yet, so all that helps is in the pictures: a picture and its inverse
show the opposite, and the sum of both shows all LEDs, as the picture with all on does.
"""

from __future__ import annotations

import numpy as np

from harness.patterns.film import FilmStep
from harness.survey.shift import Details, Picture32, moved, peak
from harness.survey.shots import Shot, Shots, light_of
from harness.survey.tracking import warped

_SMOOTH = 0.2  # of the pitch: standard deviation of the blur before pictures are compared

Shift = tuple[float, float]


def swings_of(shots: Shots, steps: tuple[FilmStep, ...]) -> Picture32:
    """(B, h, w) half of bit less inverse, all registered to one picture; a bit not seen is NaN."""
    bits = max(step.bit for step in steps) + 1
    swings: Picture32 | None = None
    whole: _Whole | None = None
    waiting: tuple[int, Picture32] | None = None
    for _, number, some in shots.pictures():
        step, now = steps[number], _middle(some)
        if step.shows == "on":
            whole = _Whole(now, shots.pitch)
        elif step.shows == "bit":
            waiting = step.bit, now
        elif step.shows == "inverse" and waiting is not None and waiting[0] == step.bit:
            if whole is None:
                whole = _Whole(waiting[1] + now, shots.pitch)
            if swings is None:
                swings = np.full((bits, *now.shape), np.nan, dtype=np.float32)
            swings[step.bit] = whole.swing(waiting[1], now)
    return np.full((bits, 1, 1), np.nan, np.float32) if swings is None else swings


def _middle(some: list[Shot]) -> Picture32:
    return light_of(some[len(some) // 2].light)


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
        import cv2  # of the extra `camera`

        found = peak(-Details(inverse).against(Details(picture)), reach=2.5 * self._pitch)
        tries = []
        for way in ((0.0, 0.0), found[:2]):
            other = moved(inverse, -way[0], -way[1])
            both = picture + other
            for shift in (self._last, self._shift(both)):
                tries.append((self._like(moved(both, -shift[0], -shift[1])), shift, other))
        _, (x, y), inverse = max(tries, key=lambda one: one[0])
        self._last = x, y
        warp, _ = warped(moved(picture + inverse, -x, -y), self._picture)
        warp = np.array([[1, 0, x], [0, 1, y], [0, 0, 1]]) @ warp
        size = (picture.shape[1], picture.shape[0])
        return np.asarray(
            cv2.warpAffine(
                (picture - inverse) / 2, warp[:2], size,
                flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            ),
            dtype=np.float32,
        )  # fmt: skip

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
        import cv2  # of the extra `camera`

        smooth = cv2.GaussianBlur(picture, (0, 0), max(_SMOOTH * self._pitch, 0.7))
        smooth = smooth - smooth.mean()
        return np.asarray(smooth / max(float(np.linalg.norm(smooth)), 1e-12), dtype=np.float32)
