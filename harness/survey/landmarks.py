"""How each frame lies, by the LEDs in it whose numbers are known.

An LED that was sighted is a landmark: its word says in which pictures it is lit. So what a frame
shows around these LEDs can be calculated, and the way from that to the frame is how the camera has
moved and turned: a homography. No picture needs to look like another: not a bit like its inverse,
nor frames in which the shutter catches other LEDs dark.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bools, Floats
from harness.patterns.film import FilmStep
from harness.survey.shift import Details, Picture32, peak
from harness.survey.shots import Shot, Shots, light_of
from harness.survey.sighting import Sighted, sighted, usual_step
from harness.survey.swing import rough_swings

_BLURS = (1.2, 0.5, 0.22)  # of the pitch: standard deviations, from the first look to the last
_SPOT = 0.3  # of the pitch: the same of an LED's light
_AROUND = np.linspace(-0.75, 0.75, 5)  # of the pitch: points that are looked at around an LED
_SEARCH = 3.0  # pixels a pitch while a frame is searched for its landmarks
_FAR = 1 / 3  # of the frame: by so much the hand moves at most
_STEPS = 8
_GAIN = 1e-4  # of the correlation: a step that gains less is the last
_PARTLY = 0.3  # of the points must be in the frame
_WORSE = 0.8  # of the correlation of a picture's middle frame: another frame does not help
_LOST = 0.3  # of the usual correlation: the picture was not found, so its bit is not seen
_PASSES = 3
_POINTS = 10_000
_ROW = 1024
_FEWEST = 3  # LEDs


def swings_of(
    shots: Shots, steps: tuple[FilmStep, ...], words: Bools
) -> tuple[Picture32, Sighted, Bools]:
    """How each point swings, and which LEDs are sighted.

    (B, h, w) half of bit less inverse, all registered to one frame, a bit not seen is NaN; where
    numbers blink in it; and (N,) which numbers were ever seen to blink. Pictures are first laid on
    each other roughly, then by the LEDs that are sighted, while that shows more of them. words:
    (N, B).
    """
    rough, larger = rough_swings(shots, steps)
    seen = np.zeros(len(words), dtype=bool)
    if np.isnan(rough).all():
        return rough, Sighted(np.zeros((0, 2)), np.zeros(0, dtype=np.int64), np.zeros(0)), seen
    found = sighted(rough, words, shots.pitch / larger).at(larger)
    seen[found.number] = True
    best = 0, _enlarged(rough, shots.shots[0].light.shape), found
    laid: dict[tuple[int, int], Floats] = {}
    for _ in range(_PASSES):
        if len(found.number) < _FEWEST:
            break
        marks = _Landmarks(found, words, best[1].shape[1:])
        swings = marks.swings(shots, steps, laid)
        found = sighted(swings, words, marks.pitch)
        seen[found.number] = True
        count = len(np.unique(found.number))
        if count <= best[0]:
            break
        best = count, swings, found
        if count == len(words):
            break
    return best[1], best[2], seen


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
        points = points[self._inside(points)]
        self._points = points[:: max(len(points) // _POINTS, 1)]
        middle = self.places.mean(axis=0)
        self._reach = max(float(np.abs(self.places - middle).max()), 1.0)
        self._unit = ((self._points - middle) / self._reach).astype(np.float32).T
        self._to_unit = np.array(
            [[1, 0, -middle[0]], [0, 1, -middle[1]], [0, 0, self._reach]]
        ) / self._reach
        self._sigmas = [max(blur * self.pitch, 0.6) for blur in _BLURS]
        self._lights = [self._light(sigma) for sigma in self._sigmas]

    def _inside(self, points: Floats) -> Bools:
        return np.asarray(((points >= 0) & (points <= np.array(self._shape[::-1]) - 1)).all(axis=1))

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
        self, shots: Shots, steps: tuple[FilmStep, ...], laid: dict[tuple[int, int], Floats]
    ) -> Picture32:
        """(B, h, w) half of bit less inverse. laid: of each picture the homography from the frame
        with the landmarks to its own; the best that is known, brought up to date."""
        swings = np.full((self._words.shape[1], *self._shape), np.nan, dtype=np.float32)
        fits: dict[int, float] = {}
        last = np.eye(3)
        waiting: tuple[int, Picture32] | None = None
        for turn, number, some in shots.pictures():
            step = steps[number]
            if step.bit < 0:
                continue
            lit = self._words[:, step.bit] == (step.shows == "bit")
            begins = [last] if (turn, number) not in laid else [laid[turn, number], last]
            now, last, like = self._picture(some, lit.astype(np.float32), begins)
            laid[turn, number] = last
            fits[step.bit] = min(like, fits.get(step.bit, 1.0))
            if step.shows == "bit":
                waiting = step.bit, now
            elif waiting is not None and waiting[0] == step.bit:
                swings[step.bit] = (waiting[1] - now) / 2
        usual = float(np.median(list(fits.values())))
        for bit, like in fits.items():
            if like < _LOST * usual:
                swings[bit] = np.nan
        return swings

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
                own, like = self._nearer(light, lit, way, len(_BLURS) - 1)
            if not count or like >= _WORSE * fits:
                flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
                total += cv2.warpPerspective(light, own, size, flags=flags)
                count += 1
        return total / np.float32(count), way, fits

    def _found(self, light: Picture32, lit: Picture32, begins: list[Floats]) -> tuple[Floats, float]:
        """How a frame lies, and how well that fits; it is looked for near `begins` and afar."""
        tries = [
            self._nearer(light, lit, begin, 0) for begin in [*begins, self._searched(light, lit)]
        ]
        way, like = max(tries, key=lambda one: one[1])
        for level in range(1, len(_BLURS)):
            way, like = self._nearer(light, lit, way, level)
        return way, like

    def _searched(self, light: Picture32, lit: Picture32) -> Floats:
        """By how much a frame is moved: where it fits best at a small size."""
        import cv2  # of the extra `camera`

        larger = max(self.pitch / _SEARCH, 1.0)
        high, wide = (max(int(side / larger), 1) for side in self._shape)
        small = cv2.resize(light, (wide, high), interpolation=cv2.INTER_AREA)
        made = np.zeros((high, wide), dtype=np.float32)
        at = (self.places / self._shape[::-1] * (wide, high)).astype(np.int64)
        column, row = at.clip(0, (wide - 1, high - 1)).T
        np.add.at(made, (row, column), (lit - lit.mean()) * self._strength)
        made = cv2.GaussianBlur(made, (0, 0), _SEARCH / 2)
        fits = Details(small).against(Details(made), whitened=False)
        x, y, _ = peak(fits, reach=_FAR * min(high, wide))
        return np.array([[1, 0, x * larger], [0, 1, y * larger], [0, 0, 1]])

    def _nearer(
        self, light: Picture32, lit: Picture32, way: Floats, level: int
    ) -> tuple[Floats, float]:
        """A better way from the landmarks to a frame, and how well it fits, -1…1.

        Gauss–Newton as in `tracking.warped`, with the two terms of perspective.
        """
        import cv2  # of the extra `camera`

        light = np.asarray(cv2.GaussianBlur(light, (0, 0), self._sigmas[level]))
        made, right, down = (one @ lit for one in self._lights[level])  # type: ignore[operator]
        x, y = self._unit
        outward = right * x + down * y
        slopes = np.stack(
            [right, right * x, right * y, down, down * x, down * y, -outward * x, -outward * y]
        )
        points = np.column_stack([self._points, np.ones(len(self._points))])
        best, like = way, -1.0
        for _ in range(_STEPS):
            ahead = points @ way.T
            at = (ahead[:, :2] / ahead[:, 2:]).astype(np.float32)
            inside = self._inside(at).astype(np.float32)
            share = float(inside.mean())
            if not share > _PARTLY:
                break
            drawn = _light_at(light, at)
            seen = (drawn - (drawn * inside).mean() / share) * inside
            meant = (made - (made * inside).mean() / share) * inside
            size = float(np.linalg.norm(meant)) + 1e-12
            seen /= np.float32(np.linalg.norm(seen) + 1e-12)
            now = float(seen @ meant) / size
            if now <= like + _GAIN:
                break
            best, like = way, now
            ways = slopes * inside
            normal = cv2.mulTransposed(ways, False).astype(np.float64)
            normal += 1e-4 * np.trace(normal) / len(normal) * np.eye(len(normal))
            a = np.linalg.solve(normal, ways @ (seen * np.float32(size / max(now, 0.1)) - meant))
            step = np.eye(3) + [[a[1], a[2], a[0]], [a[4], a[5], a[3]], [a[6], a[7], 0]]
            way = way @ np.linalg.inv(np.linalg.inv(self._to_unit) @ step @ self._to_unit)
            way = way / way[2, 2]
        return best, like


def _light_at(light: Picture32, points: NDArray[np.float32]) -> NDArray[np.float32]:
    """(M,) light at points (M, 2) of a frame, between its pixels too."""
    import cv2  # of the extra `camera`

    count = len(points)
    rows = -(-count // _ROW)
    grid = np.resize(points, (rows, _ROW, 2))  # as many points in a column OpenCV does not take
    return np.asarray(cv2.remap(light, grid, None, cv2.INTER_LINEAR).ravel()[:count])
