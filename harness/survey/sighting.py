"""Where each LED blinks in a picture of which nothing is known but how its points swing.

The swings of a point, compared with the word of a number, say how much of that LED's light is
there. So an LED is found by its word, though its light runs together with that of its neighbours,
and what else shines or moves is nobody's.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bools, Floats, Ints
from harness.survey.shift import Picture32

_SMOOTH = 0.12  # of the pitch: standard deviation of the blur
_LIKE = 0.5  # correlation of a point's swings with the word of the LED whose light it is
_SECOND = 0.75  # the same, of a second place that shows the same number
_FAINT = 0.15  # of the usual swing: not an LED
_NEARER = 0.7  # of the pitch that was expected: then it was wrong
_FINE = 4.0  # points a pitch that are compared
_MOST_POINTS = 60_000  # those that swing most
_BLOCK = 1024  # points compared with all words in one go


@dataclass(frozen=True)
class Sighted:
    """Places (M, 2), x and y, in the picture where a number blinks; number (M,); swing (M,) there,
    1 is usual."""

    places: Floats
    number: Ints
    swing: Floats

    def at(self, larger: float) -> Sighted:
        """The same in a picture that is so many times larger."""
        return replace(self, places=(self.places + 0.5) * larger - 0.5)


NOTHING = Sighted(np.zeros((0, 2)), np.zeros(0, dtype=np.int64), np.zeros(0))


def sighted(swings: Picture32, words: Bools, pitch: float) -> Sighted:
    """The places of numbers. swings: (B, h, w), a bit not seen is NaN. words: (N, B).

    pitch: pixels from one LED to the next, about; corrected if the LEDs are much nearer or farther.
    """
    found = _sighted(swings, words, pitch)
    _, first = np.unique(found.number, return_index=True)
    if len(first) < 3:
        return found
    step = usual_step(found.places[first])
    return found if _NEARER < step / pitch < 1 / _NEARER else _sighted(swings, words, step)


def usual_step(places: Floats) -> float:
    """Pixels from a place (M, 2) to its nearest neighbour, usually."""
    from scipy.spatial import cKDTree  # of the extra `campaign`; slow to load

    away, _ = cKDTree(places).query(places, k=2)
    return float(np.median(away[:, 1]))


def _sighted(swings: Picture32, words: Bools, pitch: float) -> Sighted:
    import cv2  # of the extra `camera`

    seen = ~np.isnan(swings).all(axis=(1, 2))
    sigma = max(_SMOOTH * pitch, 0.6)
    signs = np.where(words[:, seen], 1.0, -1.0).astype(np.float32)
    high, wide = swings.shape[1:]
    step = max(round(pitch / _FINE), 1)
    y, x = (one.ravel() for one in np.mgrid[0:high:step, 0:wide:step])
    points = np.stack(
        [cv2.GaussianBlur(swings[bit], (0, 0), sigma)[y, x] for bit in np.flatnonzero(seen)], axis=1
    )
    if len(points) > _MOST_POINTS:
        strong = np.argpartition(-(points**2).sum(axis=1), _MOST_POINTS)[:_MOST_POINTS]
        x, y, points = x[strong], y[strong], points[strong]
    number, most, place, height = _compared(points, signs)
    like = most / (np.sqrt((points**2).mean(axis=1)) + 1e-12)
    own = np.flatnonzero((number[place] == np.arange(len(words))) & (like[place] > _LIKE))
    if not len(own):
        return NOTHING
    usual = float(np.median(height[own]))
    own = own[height[own] > _FAINT * usual]
    found = [(int(led), int(place[led])) for led in own]
    found += _again(number, most, like, np.stack([x, y], axis=1), dict(found), pitch)
    signs_of = np.zeros((len(words), len(swings)), dtype=np.float32)
    signs_of[:, seen] = signs
    places = np.array([_top(swings, signs_of[led], (x[at], y[at]), pitch) for led, at in found])
    return Sighted(
        places, np.array([led for led, _ in found]), np.array([most[at] for _, at in found]) / usual
    )


def _compared(
    points: Picture32, signs: Picture32
) -> tuple[Ints, NDArray[np.float32], Ints, NDArray[np.float32]]:
    """Of each point (M, B) the number whose word is most alike, and the swing by that word; of each
    number the point with most of its light, and how much that is."""
    number = np.zeros(len(points), dtype=np.int64)
    most = np.zeros(len(points), dtype=np.float32)
    place = np.zeros(len(signs), dtype=np.int64)
    height = np.full(len(signs), -np.inf, dtype=np.float32)
    for begin in range(0, len(points), _BLOCK):
        along = points[begin : begin + _BLOCK] @ signs.T / np.float32(signs.shape[1])
        part = slice(begin, begin + len(along))
        number[part], most[part] = along.argmax(axis=1), along.max(axis=1)
        top = along.max(axis=0)
        higher = top > height
        place[higher] = begin + along[:, higher].argmax(axis=0)
        height[higher] = top[higher]
    return number, most, place, height


def _again(
    number: Ints,
    most: NDArray[np.float32],
    like: NDArray[np.float32],
    points: Ints,
    first: dict[int, int],
    pitch: float,
) -> list[tuple[int, int]]:
    """Second places of numbers, as of two LEDs on the same data: the number, and the point."""
    found = []
    clear = np.flatnonzero(like > _SECOND)
    for led in np.unique(number[clear]).tolist():
        if led not in first:
            continue
        own = clear[number[clear] == led]
        away = np.hypot(*(points[own] - points[first[led]]).T) > 1.5 * pitch
        own = own[away & (most[own] > 0.5 * most[first[led]])]
        if len(own):
            found.append((led, int(own[most[own].argmax()])))
    return found


def _top(
    swings: Picture32, word: Picture32, near: tuple[int, int], pitch: float
) -> tuple[float, float]:
    """x and y of the middle of an LED's own light. word: (B,) 1 and -1, 0 for a bit not seen."""
    import cv2  # of the extra `camera`

    reach = max(round(0.6 * pitch), 2)
    left, top = max(near[0] - reach, 0), max(near[1] - reach, 0)
    part = swings[:, top : near[1] + reach + 1, left : near[0] + reach + 1]
    light = np.tensordot(word[word != 0], part[word != 0], axes=1)
    light = cv2.GaussianBlur(light, (0, 0), max(_SMOOTH * pitch, 0.6))
    light = np.clip(light - 0.5 * light.max(), 0, None)
    across, down = light.sum(axis=0), light.sum(axis=1)
    total = float(light.sum()) + 1e-12
    return (
        left + float(across @ np.arange(len(across))) / total,
        top + float(down @ np.arange(len(down))) / total,
    )
