"""What is before the lens, at any time of a film."""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from emulator.description.display import Display
from tests.harness.survey.filming.face import Face, Raster
from tests.harness.survey.filming.hand import Hand
from tests.harness.survey.filming.lens import Floats, Pose
from tests.harness.survey.filming.room import Passers, ripple
from tests.harness.survey.filming.settings import Setting
from tests.harness.survey.filming.shot import Shot
from tests.harness.survey.filming.shutter import Played, Pwm, mean_light
from tests.harness.survey.filming.surroundings import Surroundings

_GRID = 8  # px between the rays that are traced; those between them are interpolated


class Scene:
    """Front, surroundings, room and hand of one film."""

    def __init__(
        self,
        display: Display,
        setting: Setting,
        shot: Shot,
        lasts_s: float,
        rng: np.random.Generator,
    ) -> None:
        self._setting, self._shot = setting, shot
        cells = shot.cells_px()
        steps = [
            np.linalg.norm(np.diff(cells, axis=axis), axis=-1)
            for axis in (0, 1)
            if cells.shape[axis] > 1
        ]
        self._face = Face(display, setting, max(float(step.max()) for step in steps), rng)
        camera = setting.camera
        self._pwm = Pwm.of(cells.shape[:2], setting.pwm_hz, rng)
        self._line_s = camera.readout_s / camera.height
        self._delays_s = cells[..., 1] * self._line_s
        self._hand = Hand.holding(lasts_s + 1, setting.place.sway, rng)
        self._passers = Passers(setting.room, lasts_s, rng)
        # One ray more at the right and the bottom: the last px are before it.
        count = (math.ceil(camera.height / _GRID) + 1, math.ceil(camera.width / _GRID) + 1)
        down, across = np.mgrid[: count[0], : count[1]] * float(_GRID)
        self._rays = shot.lens.rays(np.stack((across, down), axis=-1))
        self._rows_s = down[:, 0] * self._line_s
        edge = np.concatenate([self._rays[0], self._rays[-1], self._rays[:, 0], self._rays[:, -1]])
        self._room = Surroundings(display, setting, shot.pose.on_wall(edge), rng)
        self._ripples_s = [self._lines_s(part.raster) for part in (self._face, self._room)]
        # The raster is about as fine as the film: lens and focus blur it there.
        film_px = float(np.median(steps[-1]))
        self._blur = (
            camera.blur_px * display.grid.pitches_mm[0] / self._face.raster.mm_px[0] / film_px
        )

    def _lines_s(self, raster: Raster) -> Floats:
        """(32, 32) when, in a frame, the camera reads the line that shows a part of a raster."""
        high, wide = raster.shape
        px = np.stack(np.meshgrid(np.linspace(0, wide, 32), np.linspace(0, high, 32)), axis=-1)
        mm = np.concatenate((raster.mm(px), np.zeros((32, 32, 1))), axis=-1)
        lines = self._shot.lens.pixels(self._shot.pose.seen(mm))[..., 1]
        return np.nan_to_num(np.clip(lines, 0, self._setting.camera.height)) * self._line_s

    def mean(self, cells: NDArray[np.float32]) -> float:
        """Mean luminance of a frame while the cells give this light, for the meter."""
        candela = self._face.candela(cells)
        planes = self._face.light(candela, 1.0), self._room.light(candela, 1.0, False)
        mosaic = self._seen(*planes, np.zeros(len(self._rows_s)))
        return float(mosaic[:, ::4, ::4].mean())

    def frame(self, show: Played, begin_s: float, open_s: float) -> NDArray[np.float32]:
        """Luminance as a mosaic (4, h/2, w/2) of the frame whose first line opens at begin_s."""
        room = self._setting.room
        candela = self._face.candela(mean_light(show, self._pwm, begin_s + self._delays_s, open_s))
        lamps: list[NDArray[np.float32] | float] = [1.0, 1.0]
        if room.flicker:
            lamps = [
                cv2.resize(ripple(begin_s + lines_s, open_s, room), part.raster.shape[::-1])
                for lines_s, part in zip(self._ripples_s, (self._face, self._room), strict=True)
            ]
        blink = bool(room.blinker_hz) and begin_s * room.blinker_hz % 1 < 0.5
        front = self._face.light(candela, lamps[0])
        # Focus, lens and the hand's own movement while the shutter is open.
        blur = math.hypot(self._blur, self._smear(begin_s, open_s) / math.sqrt(12))
        front = cv2.GaussianBlur(front, (0, 0), blur, borderType=cv2.BORDER_REPLICATE)
        around = self._room.light(candela, lamps[1], blink)
        mosaic = self._seen(front, around, begin_s + open_s / 2 + self._rows_s)
        self._passers.before(mosaic, begin_s)
        return mosaic

    def _smear(self, begin_s: float, open_s: float) -> float:
        """How far the picture moves while the shutter is open, in px."""
        poses = self._hand.at(self._shot.pose, np.array([begin_s, begin_s + open_s]))
        middle = self._shot.lens.pixels(poses.seen(np.zeros(3)))
        return float(np.linalg.norm(middle[1] - middle[0]))

    def _seen(
        self, front: NDArray[np.float32], around: NDArray[np.float32], rows_s: Floats
    ) -> NDArray[np.float32]:
        """Both through the lens, each line at its own time: a mosaic (4, h/2, w/2)."""
        pose = self._hand.at(self._shot.pose, rows_s)
        pose = Pose(pose.turn[:, None], pose.place_mm[:, None])
        mm = pose.on_wall(self._rays)
        camera = self._setting.camera
        high, wide = camera.height // 2, camera.width // 2
        # What is around has no fine parts: half as many px do.
        at = self._room.raster.px(mm).astype(np.float32)
        rough = cv2.remap(
            around, _between(at, 4, (1.5, 1.5), (0, 0, wide // 2, high // 2)), None,
            cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE,
        )  # fmt: skip
        at = self._face.raster.px(mm).astype(np.float32)
        box = self._box(at)
        left, top, right, bottom = box
        mosaic = np.empty((4, high, wide), np.float32)
        for number, channel in enumerate((0, 1, 1, 2)):
            plane = mosaic[number]
            cv2.resize(cv2.extractChannel(rough, channel), (wide, high), plane)
            fine = _between(at, 2, (number % 2, number // 2), box)
            # The front covers the middle of its surroundings.
            part = np.ascontiguousarray(plane[top:bottom, left:right])
            cv2.remap(
                cv2.extractChannel(front, channel), fine, None, cv2.INTER_LINEAR, part,
                cv2.BORDER_TRANSPARENT,
            )  # fmt: skip
            plane[top:bottom, left:right] = part
        return mosaic

    def _box(self, at: NDArray[np.float32]) -> tuple[int, int, int, int]:
        """Left, top, right, bottom of what shows the front, in px of the mosaic; at: raster px
        (…, 2) of the rays."""
        inside = np.all((at > -1) & (at < np.array(self._face.raster.shape[::-1])), axis=-1)
        rows, columns = np.flatnonzero(inside.any(axis=1)), np.flatnonzero(inside.any(axis=0))
        each = _GRID // 2
        most = self._setting.camera.width // 2, self._setting.camera.height // 2
        return (
            max(int(columns[0] - 1) * each, 0), max(int(rows[0] - 1) * each, 0),
            min(int(columns[-1] + 2) * each, most[0]), min(int(rows[-1] + 2) * each, most[1]),
        )  # fmt: skip


def _between(
    at: NDArray[np.float32], step: int, first: tuple[float, float], box: tuple[int, int, int, int]
) -> NDArray[np.float32]:
    """Values (h, w, 2) between those of the rays, at every `step` px of the picture.

    first: the px (x, y) of the first. box: left, top, right, bottom of the part, in such steps.
    """
    left, top, right, bottom = box
    fit = np.array(
        [
            [step / _GRID, 0, (first[0] + step * left) / _GRID],
            [0, step / _GRID, (first[1] + step * top) / _GRID],
        ]
    )
    how = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    size = (right - left, bottom - top)
    return np.asarray(
        cv2.warpAffine(at, fit, size, flags=how, borderMode=cv2.BORDER_REPLICATE), np.float32
    )
