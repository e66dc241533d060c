"""What is before the lens, at any time of a film."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from emulator.description.display import Display
from tests.harness.survey.filming.face import Face, Raster
from tests.harness.survey.filming.hand import Hand
from tests.harness.survey.filming.lens import Floats, Pose
from tests.harness.survey.filming.room import Image, Passers, ripple
from tests.harness.survey.filming.settings import Setting
from tests.harness.survey.filming.shot import Shot, steps_of
from tests.harness.survey.filming.shutter import Played, Pwm, mean_light
from tests.harness.survey.filming.surroundings import Surroundings

ROUGH = 4  # px of the frame for one of its rough picture


@dataclass(frozen=True)
class Light:
    """The light of a frame, in cd/m².

    rough: (h/4, w/4, 3) all of it. box: left, top, right, bottom, in px of `rough`, of the part
    with the wall. fine: (4, 2·h, 2·w) that part as a mosaic of the Bayer pattern R G / G B.
    """

    rough: Image
    box: tuple[int, int, int, int]
    fine: Image

    @property
    def subject(self) -> Image:
        """The part of `rough` with the wall."""
        left, top, right, bottom = self.box
        return self.rough[top:bottom, left:right]

    def in_box(self, rough: Image) -> Image:
        """The box of a rough picture (h/4, w/4), as fine as a plane of the mosaic."""
        left, top, right, bottom = self.box
        size = (2 * (right - left), 2 * (bottom - top))
        return np.asarray(cv2.resize(rough[top:bottom, left:right], size))


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
        steps = steps_of(shot)
        self._face = Face(display, setting, max(float(step.max()) for step in steps), rng)
        camera = setting.camera
        self._pwm = Pwm.of(cells.shape[:2], setting.pwm_hz, rng)
        self._line_s = camera.readout_s / camera.height
        self._delays_s = cells[..., 1] * self._line_s
        self._hand = Hand.holding(lasts_s + 1, setting.place.sway, rng, setting.place.arrives_s)
        self._passers = Passers(setting.room, lasts_s, rng)
        # Rays are traced in the middle of each square of a grid, and of those around the picture;
        # between them they are interpolated, within about 0.03 px.
        self._grid = grid = 16 if camera.height >= 1000 else 8
        count = (math.ceil(camera.height / grid) + 2, math.ceil(camera.width / grid) + 2)
        down, across = np.mgrid[: count[0], : count[1]] * float(grid) - (grid + 1) / 2
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

    def still(self, cells: NDArray[np.float32]) -> Light:
        """The light while the cells give this light (rows, columns, 3), and nothing moves."""
        candela = self._face.candela(cells)
        front = [
            cv2.GaussianBlur(plane, (0, 0), self._blur) for plane in self._face.light(candela, 1.0)
        ]
        return self._seen(front, self._room.light(candela, 1.0, False), self._shot.pose)

    def frame(self, show: Played, begin_s: float, open_s: float) -> Light:
        """The light of the frame whose first line opens at begin_s."""
        room = self._setting.room
        candela = self._face.candela(mean_light(show, self._pwm, begin_s + self._delays_s, open_s))
        lamps: list[NDArray[np.float32] | float] = [1.0, 1.0]
        if room.flicker:
            lamps = [
                cv2.resize(ripple(begin_s + lines_s, open_s, room), part.raster.shape[::-1])
                for lines_s, part in zip(self._ripples_s, (self._face, self._room), strict=True)
            ]
        blink = bool(room.blinker_hz) and begin_s * room.blinker_hz % 1 < 0.5
        # Focus, lens and the hand's own movement while the shutter is open.
        blur = math.hypot(self._blur, self._smear(begin_s, open_s) / math.sqrt(12))
        front = [
            cv2.GaussianBlur(plane, (0, 0), blur, borderType=cv2.BORDER_REPLICATE)
            for plane in self._face.light(candela, lamps[0])
        ]
        around = self._room.light(candela, lamps[1], blink)
        pose = self._hand.at(self._shot.pose, begin_s + open_s / 2 + self._rows_s)
        pose = Pose(pose.turn[:, None], pose.place_mm[:, None])
        light = self._seen(front, around, pose)
        for mask, dark in self._passers.at(begin_s, light.rough.shape[:2]):
            light.rough[:] += mask[..., None] * (dark - light.rough)
            within = light.in_box(mask)
            for plane, channel in zip(light.fine, (0, 1, 1, 2), strict=True):
                plane += within * (dark[channel] - plane)
        return light

    def _smear(self, begin_s: float, open_s: float) -> float:
        """How far the picture moves while the shutter is open, in px."""
        poses = self._hand.at(self._shot.pose, np.array([begin_s, begin_s + open_s]))
        middle = self._shot.lens.pixels(poses.seen(np.zeros(3)))
        return float(np.linalg.norm(middle[1] - middle[0]))

    def _seen(self, front: list[Image], around: Image, pose: Pose) -> Light:
        """Both through the lens; pose: one, or (lines of rays, 1) as each line is read."""
        mm = pose.on_wall(self._rays)
        camera, grid = self._setting.camera, self._grid
        # All of it first; what is around has no fine parts. Each px is the mean of 4 × 4.
        whole = (0, 0, camera.width // ROUGH, camera.height // ROUGH)
        at = self._room.raster.px(mm).astype(np.float32)
        places = _between(at, grid // ROUGH, whole)
        rough = cv2.remap(around, places, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        at = self._face.raster.px(mm).astype(np.float32)
        small = cv2.merge(
            [
                cv2.resize(plane, None, fx=1 / ROUGH, fy=1 / ROUGH, interpolation=cv2.INTER_AREA)
                for plane in front
            ]
        )
        factor = np.array(small.shape[1::-1]) / front[0].shape[::-1]
        places = _between(((at + 0.5) * factor - 0.5).astype(np.float32), grid // ROUGH, whole)
        # The front covers the middle of its surroundings.
        cv2.remap(small, places, None, cv2.INTER_LINEAR, rough, cv2.BORDER_TRANSPARENT)
        box = self._box(at)
        light = Light(
            rough, box, np.empty((4, 2 * (box[3] - box[1]), 2 * (box[2] - box[0])), np.float32)
        )
        for number, channel in enumerate((0, 1, 1, 2)):
            light.fine[number] = light.in_box(rough[..., channel])
            # A px of the mosaic is half a px left or right of the middle of its 2 × 2.
            down, across = ((odd - 0.5) / grid for odd in divmod(number, 2))
            moved = _moved(_moved(at, down, 0), across, 1)
            places = _between(moved, grid // 2, tuple(2 * edge for edge in box))
            cv2.remap(
                front[channel], places, None, cv2.INTER_LINEAR, light.fine[number],
                cv2.BORDER_TRANSPARENT,
            )  # fmt: skip
        return light

    def _box(self, at: NDArray[np.float32]) -> tuple[int, int, int, int]:
        """`Light.box`, with a margin; at: raster px (…, 2) of the rays."""
        inside = np.all((at > -1) & (at < np.array(self._face.raster.shape[::-1])), axis=-1)
        rows, columns = np.flatnonzero(inside.any(axis=1)), np.flatnonzero(inside.any(axis=0))
        each, camera = self._grid // ROUGH, self._setting.camera
        if not rows.size:
            rows = columns = np.ones(1, int)
        return (
            max(int(columns[0] - 2) * each, 0),
            max(int(rows[0] - 2) * each, 0),
            min(int(columns[-1] + 1) * each, camera.width // ROUGH),
            min(int(rows[-1] + 1) * each, camera.height // ROUGH),
        )


def _moved(at: NDArray[np.float32], share: float, axis: int) -> NDArray[np.float32]:
    """Values of rays that are a share of the grid's step further on, less than half of one."""
    return np.asarray(at + np.float32(share) * np.gradient(at, axis=axis).astype(np.float32))


def _between(at: NDArray[np.float32], each: int, box: tuple[int, ...]) -> NDArray[np.float32]:
    """Values (h, w, 2) between those of the rays, in the middle of each of `each` × `each` parts of
    the grid's squares.

    box: left, top, right, bottom of what is asked for, counted in such parts.
    """
    left, top, right, bottom = box
    first = (top // each, left // each)
    rays = at[first[0] : -(-bottom // each) + 2, first[1] : -(-right // each) + 2]
    fine = cv2.resize(rays, None, fx=each, fy=each)
    down, across = top - (first[0] - 1) * each, left - (first[1] - 1) * each
    return np.asarray(fine[down : down + bottom - top, across : across + right - left])
