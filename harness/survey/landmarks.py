"""How each frame lies, by the LEDs in it whose numbers are known.

An LED that was sighted is a landmark: its word says in which pictures it is lit. So what a frame
shows around these LEDs can be calculated, and the way from that to the frame is how the camera has
moved and turned: a homography. No picture needs to look like another: not a bit like its inverse,
nor frames in which the shutter catches other LEDs dark.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bools, Floats
from harness.patterns.film import FilmStep
from harness.survey.shift import Details, Picture32, peak, within
from harness.survey.shots import Shot, Shots, light_of
from harness.survey.sighting import NOTHING, Sighted, sighted, usual_step
from harness.survey.swing import rough_swings

_BLURS = (1.2, 0.5, 0.22)  # of the pitch: standard deviations, from the first look to the last
_SPOT = 0.3  # of the pitch: the same of an LED's light
_AROUND = np.linspace(-0.75, 0.75, 5)  # of the pitch: points that are looked at around an LED
_SEARCH = 3.0  # pixels a pitch while a frame is searched for its landmarks
_FAR = 1 / 3  # of the frame: by so much the hand moves at most
_TURNED = 0.25  # of the way from the middle to the edge: a turn moves no corner further
_STEPS = 8
_GAIN = 1e-4  # of the correlation: a step that gains less is the last
_PARTLY = 0.3  # of the points must be in the frame
_WORSE = 0.8  # of the correlation of a picture's middle frame: another frame does not help
_LOST = 0.4  # of the usual correlation: the picture was not found, so its bit is not seen
_PASSES = 3
_KEPT = 0.9  # of the LEDs that were sighted roughly; they may not all have been there
_POINTS = 10_000  # that are looked at, at most about twice as many
_ROW = 1024  # points in a row of a picture of points
_FEWEST = 3  # LEDs


Ways = dict[tuple[int, int], Floats]  # (3, 3) homographies of pass and step


class Sightings(NamedTuple):
    """How each point of a frame swings, and the LEDs in it.

    swings: (B, h, w) half of bit less inverse, all laid on one frame; a bit not seen is NaN. found:
    where numbers blink there. blinking: (N,) numbers that were ever seen to blink. ways: from the
    pixels of that frame to those of the middle frame of each picture that was found.
    """

    swings: Picture32
    found: Sighted
    blinking: Bools
    ways: Ways

    def seen(self, places: Floats) -> Floats:
        """(…) share of the pictures that have places (…, 2) of that frame."""
        shape = self.swings.shape[1:]
        ahead = np.concatenate([places, np.ones((*places.shape[:-1], 1))], axis=-1)
        share = within(places, shape).astype(np.float64)
        if self.ways:
            there = [ahead @ way.T for way in self.ways.values()]
            share *= np.mean([within(at[..., :2] / at[..., 2:], shape) for at in there], axis=0)
        return share


def sightings(shots: Shots, steps: tuple[FilmStep, ...], words: Bools) -> Sightings:
    """What the pictures of the code show, laid on each other. words: (N, B).

    First roughly, then by the LEDs that are sighted, while that shows more of them.
    """
    rough, larger = rough_swings(shots, steps)
    blinking = np.zeros(len(words), dtype=np.bool_)
    if np.isnan(rough).all():
        return Sightings(rough, NOTHING, blinking, {})
    found = sighted(rough, words, shots.pitch / larger).at(larger)
    blinking[found.number] = True
    best = Sightings(_enlarged(rough, shots.shots[0].light.shape), found, blinking, {})
    ways: Ways = {}
    count = _KEPT * len(np.unique(found.number))
    for _ in range(_PASSES):
        if len(found.number) < _FEWEST or count == len(words):
            break
        marks = _Landmarks(found, words, best.swings.shape[1:])
        swings, ways = marks.swings(shots, steps, ways)
        found = sighted(swings, words, marks.pitch)
        blinking[found.number] = True
        before, count = count, len(np.unique(found.number))
        if count <= before:
            break
        best = Sightings(swings, found, blinking, ways)
    return best


def _enlarged(swings: Picture32, shape: tuple[int, ...]) -> Picture32:
    import cv2  # of the extra `camera`

    return np.stack([cv2.resize(one, shape[::-1]) for one in swings])


class _Landmarks:
    """What frames show at points around LEDs that are known.

    found: the LEDs in a frame of that shape (h, w), on which others are laid. pitch: pixels.
    """

    def __init__(self, found: Sighted, words: Bools, shape: tuple[int, ...]) -> None:
        self.places, self._shape, self.pitch = found.places, shape, usual_step(found.places)
        self._words = words[found.number]
        self._strength = np.clip(found.swing, 0.3, 1.5)
        around = np.stack(np.meshgrid(_AROUND, _AROUND), axis=-1).reshape(-1, 2) * self.pitch
        points = (self.places[:, None] + around).reshape(-1, 2)
        points = points[within(points, shape)]
        self._points = points[:: max(len(points) // _POINTS, 1)]
        middle = self.places.mean(axis=0)
        self._reach = max(float(np.abs(self.places - middle).max()), 1.0)
        self._unit = ((self._points - middle) / self._reach).astype(np.float32).T
        self._to_unit = (
            np.array([[1, 0, -middle[0]], [0, 1, -middle[1]], [0, 0, self._reach]]) / self._reach
        )
        corners = middle[:, None] + self._reach * np.array([[-1, 1, 1, -1], [-1, -1, 1, 1]])
        self._ends = np.vstack([corners, np.ones(4)])
        self._sigmas = [max(blur * self.pitch, 0.6) for blur in _BLURS]
        self._lights = [self._light(sigma) for sigma in self._sigmas]

    def _light(self, sigma: float) -> tuple[object, ...]:
        """Matrices from LEDs that are lit to blurred light at the points, and to its slopes."""
        from scipy.sparse import csr_matrix  # of the extra `campaign`; slow to load
        from scipy.spatial import cKDTree

        wide = float(np.hypot(_SPOT * self.pitch, sigma))
        trees = cKDTree(self._points), cKDTree(self.places)
        near = trees[0].sparse_distance_matrix(trees[1], 2.5 * wide, output_type="coo_matrix")
        off = (self._points[near.row] - self.places[near.col]) / wide
        light = np.exp(-(off**2).sum(axis=1) / 2) * self._strength[near.col]
        slopes = -light[:, None] * off / wide * self._reach
        return tuple(
            csr_matrix((one.astype(np.float32), (near.row, near.col)), shape=near.shape)
            for one in (light, *slopes.T)
        )

    def swings(
        self, shots: Shots, steps: tuple[FilmStep, ...], known: Ways
    ) -> tuple[Picture32, Ways]:
        """(B, h, w) half of bit less inverse, and the ways to the pictures. known: some of them."""
        swings = np.full((self._words.shape[1], *self._shape), np.nan, dtype=np.float32)
        ways: Ways = {}
        fits: dict[tuple[int, int], float] = {}
        last = np.eye(3)
        waiting: tuple[int, Picture32] | None = None
        for turn, number, some in shots.pictures():
            step = steps[number]
            if step.bit < 0:
                continue
            lit = self._words[:, step.bit] == (step.shows == "bit")
            key = turn, number
            begins = [last, known[key]] if key in known else [last]
            now, ways[key], fits[key] = self._picture(some, lit.astype(np.float32), begins)
            last = ways[key]
            if step.shows == "bit":
                waiting = step.bit, now
            elif waiting is not None and waiting[0] == step.bit:
                swings[step.bit] = (waiting[1] - now) / 2
        usual = float(np.median(list(fits.values())))
        for key, like in fits.items():
            if like < _LOST * usual:
                swings[steps[key[1]].bit] = np.nan
                del ways[key]
        return swings, ways

    def _picture(
        self, some: list[Shot], lit: Picture32, begins: list[Floats]
    ) -> tuple[Picture32, Floats, float]:
        """The mean of a picture's frames, how the middle one lies, and how well that fits."""
        import cv2  # of the extra `camera`

        size = self._shape[::-1]
        middle = len(some) // 2
        order = [some[middle], *some[:middle], *some[middle + 1 :]]
        way, fits = np.eye(3), -1.0
        total, count = np.zeros(self._shape, dtype=np.float32), 0
        for shot in order:
            light = light_of(shot.light)
            if not count:
                way, fits = self._found(light, lit, begins)
                own, like = way, fits
            else:
                last = len(_BLURS) - 1
                own, like = self._nearer(self._blurred(light, last), lit, way, last)
            if not count or like >= _WORSE * fits:
                flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
                total += cv2.warpPerspective(light, own, size, flags=flags)
                count += 1
        return total / np.float32(count), way, fits

    def _found(
        self, light: Picture32, lit: Picture32, begins: list[Floats]
    ) -> tuple[Floats, float]:
        """How a frame lies, and how well that fits; it is looked for near `begins` and afar."""
        first = self._blurred(light, 0)
        tries = [
            self._nearer(first, lit, begin, 0) for begin in [*begins, self._searched(light, lit)]
        ]
        way, like = max(tries, key=lambda one: one[1])
        for level in range(1, len(_BLURS)):
            way, like = self._nearer(self._blurred(light, level), lit, way, level)
        return way, like

    def _blurred(self, light: Picture32, level: int) -> Picture32:
        import cv2  # of the extra `camera`

        sigma = self._sigmas[level]
        return np.asarray(cv2.GaussianBlur(light, (0, 0), sigma), dtype=np.float32)

    def _searched(self, light: Picture32, lit: Picture32) -> Floats:
        """By how much a frame is moved: where it fits best at a small size."""
        import cv2  # of the extra `camera`

        larger = max(self.pitch / _SEARCH, 1.0)
        high, wide = (max(int(side / larger), 1) for side in self._shape)
        size = wide, high
        small = np.asarray(cv2.resize(light, size, interpolation=cv2.INTER_AREA), dtype=np.float32)
        made = np.zeros((high, wide), dtype=np.float32)
        at = (self.places / self._shape[::-1] * size).astype(np.int64)
        column, row = at.clip(0, (wide - 1, high - 1)).T
        np.add.at(made, (row, column), (lit - lit.mean()) * self._strength)
        made = np.asarray(cv2.GaussianBlur(made, (0, 0), _SEARCH / 2))
        fits = Details(small).against(Details(made), whitened=False)
        x, y, _ = peak(fits, reach=_FAR * min(high, wide))
        return np.array([[1, 0, x * larger], [0, 1, y * larger], [0, 0, 1]])

    def _likely(self, way: Floats) -> bool:
        """Whether a hand may have turned the camera so: by a little, whatever it moved."""
        ends = way @ self._ends
        if not (ends[2] > 0.5).all():
            return False
        moved = ends[:2] / ends[2] - self._ends[:2]
        return (
            float(np.abs(moved - moved.mean(axis=1, keepdims=True)).max()) < _TURNED * self._reach
        )

    def _nearer(
        self, light: Picture32, lit: Picture32, way: Floats, level: int
    ) -> tuple[Floats, float]:
        """A better way from the landmarks to a frame that is blurred, and how well it fits, -1…1.

        Gauss–Newton as in `tracking.warped`, with the two terms of perspective.
        """
        import cv2  # of the extra `camera`

        if not lit.any():  # of a small wall, in a few pictures: it lies as the one before
            return way, 1.0
        made, right, down = (one @ lit for one in self._lights[level])  # type: ignore[operator]
        x, y = self._unit
        outward = right * x + down * y
        slopes = np.stack(
            [right, right * x, right * y, down, down * x, down * y, -outward * x, -outward * y]
        )
        points = np.column_stack([self._points, np.ones(len(self._points))])
        best, like = way, -1.0
        for _ in range(_STEPS):
            if not self._likely(way):
                break
            ahead = points @ way.T
            at = (ahead[:, :2] / ahead[:, 2:]).astype(np.float32)
            inside = within(at, self._shape).astype(np.float32)
            share = float(inside.mean())
            if not share > _PARTLY:
                break
            drawn = _light_at(light, at)
            seen = (drawn - (drawn * inside).mean() / share) * inside
            meant = (made - (made * inside).mean() / share) * inside
            size = cv2.norm(meant) + 1e-12
            seen /= np.float32(cv2.norm(seen) + 1e-12)
            now = float((seen * meant).sum()) / size
            if now <= like + _GAIN:
                break
            best, like = way, now
            ways = slopes * inside
            normal = cv2.mulTransposed(ways, False).astype(np.float64)
            if not normal.any():
                break
            normal += 1e-4 * np.trace(normal) / len(normal) * np.eye(len(normal))
            off = seen * np.float32(size / max(now, 0.1)) - meant
            a = np.linalg.solve(normal, np.einsum("ik,k->i", ways, off))
            terms = np.array([[a[1], a[2], a[0]], [a[4], a[5], a[3]], [a[6], a[7], 0]])
            step = np.eye(3) + terms
            way = way @ np.linalg.inv(np.linalg.inv(self._to_unit) @ step @ self._to_unit)
            way = way / way[2, 2]
        return best, like


def _light_at(light: Picture32, points: NDArray[np.float32]) -> NDArray[np.float32]:
    """(M,) light at points (M, 2) of a frame, between its pixels too."""
    import cv2  # of the extra `camera`

    count = len(points)
    rows = -(-count // _ROW)
    grid = np.resize(points, (rows, _ROW, 2))  # as many points in a column OpenCV does not take
    return np.asarray(
        cv2.remap(light, grid[..., 0], grid[..., 1], cv2.INTER_LINEAR).ravel()[:count]
    )
