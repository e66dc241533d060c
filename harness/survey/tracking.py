"""Holds the lattice on the wall, frame by frame, while the hand shakes.

The frame is drawn straight, so many pixels a cell. Its cells are lit or dark; a picture made of
them alone is what the frame would be if the lattice lay right, and the way from one to the other is
the way the camera moved. So nothing needs to be known of what the wall shows. That no cell outside
the wall is ever lit tells by how many cells the lattice might be off.
"""

from __future__ import annotations

import numpy as np

from emulator.arrays import Bools, Floats
from harness.survey.lattice import MARGIN, Lattice
from harness.survey.seen import Outline
from harness.survey.shift import Picture32
from harness.survey.straight import by_cell, middles, straight_map, straightened

LIKE = 0.5  # correlation of a frame with the picture made of its cells, at least
_WORSE = 0.93  # of the usual correlation: worth a search
_GAP_S = 0.3
_FAR = 3.0  # cells, by which no corner of the wall moves in one go: then nothing fits
_TURNS = 2  # a frame is drawn straight
_STEPS = 8
_INSIDE = 0.3  # strength of a cell that belongs to the wall
_REACH = 2  # cells by which the wall may have moved while nothing was seen


class Tracker:
    """The pose of a camera that films a wall.

    lattice: in the pixels of one frame. outline: of the last frame.
    """

    def __init__(self, lattice: Lattice) -> None:
        self.outline = lattice.outline
        self.shape = lattice.strength.shape
        self.side = 6 if lattice.strength.size < 4000 else 5 if lattice.strength.size < 9000 else 4
        self.inside: Bools = lattice.strength > _INSIDE
        self._strength = np.where(self.inside, lattice.strength, 0.0)
        self.profile = np.ones((self.side, self.side), dtype=np.float32)
        self.now: Picture32 = np.zeros((1, 1), dtype=np.float32)
        self._last_s = -np.inf
        self._usual = {False: 0.0, True: 0.0}  # correlation of frames, all lit and coded

    def straight(self, light: Picture32, outline: Outline | None = None) -> Picture32:
        """A picture of linear light drawn straight, `side` pixels a cell."""
        import cv2  # of the extra `camera`

        x, y = straight_map(self.outline if outline is None else outline, self.shape, self.side)
        pitch = float(np.hypot(x[0, 0] - x[0, -1], y[0, 0] - y[0, -1])) / self.shape[1]
        if pitch > 2 * self.side:  # so that no light falls between the points
            light = np.asarray(cv2.blur(light, (round(pitch / self.side),) * 2))
        return np.asarray(cv2.remap(light, x, y, cv2.INTER_LINEAR))

    def cells(self, straight: Picture32) -> Floats:
        """(rows, columns) light of the middle of each cell of a straight picture."""
        return middles(straight, self.side)

    def follow(
        self, light: Picture32, time_s: float, *, coded: bool, about: Outline | None = None
    ) -> float:
        """Move the outline to a frame in which LEDs are lit; how well it fits, -1…1.

        coded: about half of them are, else all. about: where it is, if that is known about. If it
        fits badly, the outline stays. After a gap in time, or if it fits worse than usual, the wall
        may be some cells away. `now` is then the frame drawn straight.
        """
        outline, like = self._improved(light, about or self.outline, coded)
        known = about is not None and like >= LIKE
        if not known and (time_s - self._last_s > _GAP_S or like < _WORSE * self._usual_of(coded)):
            others = self._around(light, coded)
            outline, like = max([(outline, like), *others], key=lambda found: found[1])
        self.now = self.straight(light, outline)
        for _ in range(_TURNS):
            right, down = self._slip()
            if not (right or down):
                break
            again = self._improved(light, outline.begun_at(right, down), coded)
            if again[1] <= like:
                break
            outline, like = again
            self.now = self.straight(light, outline)
        if like >= LIKE:
            self.outline = outline
            self._last_s = time_s
            usual = self._usual[coded]
            self._usual[coded] = max(like, usual + 0.2 * (like - usual))
        return like

    def _slip(self) -> tuple[int, int]:
        """By how many cells, right and down, the light is off the wall; the hand may jump."""
        shine = self.cells(self.now)
        ways = [
            (right, down)
            for down in range(-MARGIN, MARGIN + 1)
            for right in range(-MARGIN, MARGIN + 1)
        ]
        own = self.inside.astype(np.float64)
        fits = [float((shine * np.roll(own, way[::-1], axis=(0, 1))).sum()) for way in ways]
        return ways[int(np.argmax(fits))]

    def _usual_of(self, coded: bool) -> float:
        """The usual correlation of such frames; of the others, while there was none."""
        return self._usual[coded] or 0.95 * self._usual[not coded]

    def _around(self, light: Picture32, coded: bool) -> list[tuple[Outline, float]]:
        """Outlines moved to where most light is inside, and a cell further, each improved."""
        import cv2  # of the extra `camera`

        side, reach = self.side, _REACH * self.side
        straight = self.straight(light)
        padded = np.pad(np.asarray(cv2.blur(straight, (side, side))), reach, mode="edge")
        mask = np.kron(self.inside.astype(np.float32), np.ones((side, side), np.float32))
        fit = cv2.matchTemplate(padded, mask - mask.mean(), cv2.TM_CCORR)
        down, right = np.unravel_index(int(fit.argmax()), fit.shape)
        x, y = self._phase(straight)
        x += round((int(right) - reach) / side - x)
        y += round((int(down) - reach) / side - y)
        tries = [(0, 0), (1, 0), (-1, 0), (0, 1), (0, -1)]
        return [self._improved(light, self.outline.begun_at(x + i, y + j), coded) for i, j in tries]

    def _phase(self, straight: Picture32) -> tuple[float, float]:
        """By what part of a cell the light of a straight picture is off the middle of its cells.

        There it differs most from the light around, whether LEDs are dots or fill their cells.
        """
        import cv2  # of the extra `camera`

        side = self.side
        near = cv2.GaussianBlur(straight, (0, 0), side / 4)
        differs = np.asarray((near - cv2.blur(straight, (3 * side, 3 * side))) ** 2)
        fold = by_cell(differs, side)[self.inside].mean(axis=0)
        down, right = np.unravel_index(int(fold.argmax()), fold.shape)
        return (int(right) + 0.5) / side - 0.5, (int(down) + 0.5) / side - 0.5

    def _improved(self, light: Picture32, outline: Outline, coded: bool) -> tuple[Outline, float]:
        """The outline moved so that the frame fits the picture made of its cells."""
        like = -1.0
        for _ in range(_TURNS):
            straight = self.straight(light, outline)
            made = self._made(straight, coded)
            warp, like = warped(straight, made)
            # Points of the straight picture to cells and back.
            scale, half = 1 / self.side, 0.5 / self.side - 0.5
            to_cells = np.array([[scale, 0, half], [0, scale, half], [0, 0, 1]])
            move = to_cells @ warp @ np.linalg.inv(to_cells)
            ends = np.array([[0, 0, 1], [self.shape[1], self.shape[0], 1.0]]).T
            far = float(np.abs(move @ ends - ends).max())
            if not far < _FAR:
                return outline, -1.0
            outline = outline.of(move)
            if far < 0.1:
                break
        return outline, like

    def _made(self, straight: Picture32, coded: bool) -> Picture32:
        """The picture of lit and dark cells that a straight frame shows."""
        import cv2  # of the extra `camera`

        light = self.cells(straight)
        if coded:
            strength = np.maximum(self._strength, 1e-6)
            share = np.where(self.inside, light / strength, 0.0)
            weight = self.inside.astype(np.float64)
            mean = cv2.blur(share, (7, 7)) / np.maximum(cv2.blur(weight, (7, 7)), 1e-6)
            lit = self.inside & (share > mean)
        else:
            lit = self.inside
        cells = np.where(lit, self._strength, 0.0).astype(np.float32)
        made = np.kron(cells, np.ones((self.side, self.side), np.float32))
        made *= np.tile(self.profile, self.shape)
        return np.asarray(cv2.GaussianBlur(made, (0, 0), self.side / 8))


def warped(picture: Picture32, made: Picture32) -> tuple[Floats, float]:
    """The affine map (3, 3) from points of `made` to points of the picture, and how alike they are.

    Gauss–Newton on the difference of both, each with mean 0 and size 1, so that neither exposure
    nor dark light matters; inverse compositional: S. Baker, I. Matthews, Lucas–Kanade 20 years on,
    International Journal of Computer Vision 56, 2004.
    """
    import cv2  # of the extra `camera`

    height, width = made.shape
    meant = made - made.mean()
    size = cv2.norm(meant)
    if size < 1e-9:
        return np.eye(3), -1.0
    meant /= size
    down, right = np.gradient(meant)
    reach = max(height, width) / 2
    x = ((np.arange(width, dtype=np.float32) - (width - 1) / 2) / reach)[None, :]
    y = ((np.arange(height, dtype=np.float32) - (height - 1) / 2) / reach)[:, None]
    ways = np.stack(
        [way.ravel() for way in (right, right * x, right * y, down, down * x, down * y)]
    )
    # Not by the library of matrices: its threads wait longer for each other than this takes.
    normal = np.asarray(cv2.mulTransposed(ways, False))
    normal += 1e-3 * np.trace(normal) / 6 * np.eye(6, dtype=np.float32)
    to_unit = np.array(
        [
            [1 / reach, 0, (1 - width) / 2 / reach],
            [0, 1 / reach, (1 - height) / 2 / reach],
            [0, 0, 1],
        ]
    )
    warp, like, best = np.eye(3), -1.0, np.eye(3)
    for _ in range(_STEPS):
        drawn = cv2.warpAffine(
            picture, warp[:2], (width, height),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REPLICATE,
        )  # fmt: skip
        moved = np.asarray(drawn, dtype=np.float32) - np.float32(drawn.mean())
        moved = moved / max(cv2.norm(moved), 1e-12)
        now = float((moved * meant).sum())
        if now <= like + 1e-5:
            break
        like, best = now, warp
        gain = max(now, 0.1)
        step = np.linalg.solve(normal, np.einsum("ik,k->i", ways, (moved / gain - meant).ravel()))
        # The steps are in pixels, over places from -1 to 1.
        place = np.array([[step[1], step[2], step[0]], [step[4], step[5], step[3]], [0, 0, 0]])
        delta = np.eye(3) + place @ to_unit
        warp = warp @ np.linalg.inv(delta)
    return best, like


def profile_of(image: Picture32, tracker: Tracker) -> Picture32:
    """(side, side) how a usual cell of a picture shines, 1 at its brightest."""
    straight = straightened(image, tracker.outline, tracker.shape, tracker.side)
    usual = np.median(by_cell(straight, tracker.side)[tracker.inside], axis=0)
    return np.asarray(usual / max(float(usual.max()), 1e-12), dtype=np.float32)
