"""How each point of the picture swings between each bit and its inverse, while the hand shakes.

Nothing is known of the wall yet, so all that helps is in the pictures: a picture and its inverse
show the opposite, the sum of both shows all LEDs, and so do all such sums.
"""

from __future__ import annotations

import numpy as np

from harness.patterns.film import FilmStep
from harness.survey.shift import Details, Picture32, moved, peak
from harness.survey.shots import Shot, Shots, light_of
from harness.survey.tracking import warped


def swings_of(shots: Shots, steps: tuple[FilmStep, ...]) -> Picture32:
    """(B, h, w) half of bit less inverse, registered to the first pair; a bit not seen is NaN."""
    bits = max(step.bit for step in steps) + 1
    swings: Picture32 | None = None
    waiting: tuple[int, Picture32] | None = None
    whole, first = None, np.zeros((1, 1), dtype=np.float32)
    for _, number, some in shots.pictures():
        step = steps[number]
        if step.shows == "bit":
            waiting = step.bit, _middle(some)
        if step.shows != "inverse" or waiting is None or waiting[0] != step.bit:
            continue
        picture, inverse = waiting[1], _middle(some)
        right, down, _ = peak(
            -Details(inverse).against(Details(picture)), reach=max(2.5 * shots.pitch, 1.5)
        )
        inverse = moved(inverse, -right, -down)
        swing: Picture32 = (picture - inverse) * np.float32(0.5)
        both = picture + inverse
        details = Details(both, coarse=max(both.shape))
        if swings is None or whole is None:
            swings = np.full((bits, *swing.shape), np.nan, dtype=np.float32)
            whole, first = details, both
        else:
            # Where both overlap most, and near there, where their details do.
            x, y, _ = peak(details.against(whole, whitened=False))
            x, y, _ = peak(details.against(whole), (x, y), reach=max(0.48 * shots.pitch, 1.5))
            swing = _onto(swing, both, first, (x, y))
        swings[step.bit] = swing
    return np.zeros((bits, 1, 1), np.float32) * np.nan if swings is None else swings


def _middle(some: list[Shot]) -> Picture32:
    return light_of(some[len(some) // 2].light)


def _onto(
    swing: Picture32, both: Picture32, first: Picture32, shift: tuple[float, float]
) -> Picture32:
    """The swing moved by so much, and then as the sums of the pictures lie on each other."""
    import cv2  # of the extra `camera`

    x, y = shift
    warp, _ = warped(moved(both, -x, -y), first)
    warp = np.array([[1, 0, x], [0, 1, y], [0, 0, 1]]) @ warp
    size = (swing.shape[1], swing.shape[0])
    return np.asarray(
        cv2.warpAffine(swing, warp[:2], size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP),
        dtype=np.float32,
    )
