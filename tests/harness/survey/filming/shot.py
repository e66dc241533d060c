"""Where a camera is so that it sees a wall as a setting asks."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np

from emulator.description.display import Display
from tests.harness.survey.filming.lens import Floats, Lens, Pose, looking
from tests.harness.survey.filming.settings import Setting


@dataclass(frozen=True)
class Shot:
    """How the camera sees the wall while nobody moves it."""

    lens: Lens
    pose: Pose
    cells_mm: Floats  # (rows, columns, 3) the cells' middles
    corners_mm: Floats  # (4, 3) of the wall

    def cells_px(self) -> Floats:
        """(rows, columns, 2) the cells' middles in the sensor's picture."""
        return self.lens.pixels(self.pose.seen(self.cells_mm))


def shot_of(display: Display, setting: Setting) -> Shot:
    """The camera so near that the cells have the pitch asked for, or as the frame allows."""
    camera, place, clip = setting.camera, setting.place, setting.clip
    turned = (clip.rotation_deg // 90 + (1 if clip.upright else 0)) % 4
    focal = camera.width / 2 / math.tan(math.radians(camera.field_deg / 2))
    lens = Lens(focal, ((camera.width - 1) / 2, (camera.height - 1) / 2), camera.distortion)
    grid = display.grid
    across, down = grid.pitches_mm
    x = (np.arange(grid.columns) + 0.5 - grid.columns / 2) * across
    y = (np.arange(grid.rows) + 0.5 - grid.rows / 2) * down
    cells = np.stack((*np.meshgrid(x, y), np.zeros((grid.rows, grid.columns))), axis=-1)
    half = np.array([grid.columns * across, grid.rows * down]) / 2
    corners = np.array([[*(half * side), 0.0] for side in ((-1, -1), (1, -1), (1, 1), (-1, 1))])
    roll = place.roll_deg + 90.0 * turned

    def at(distance_mm: float, aside: float) -> Shot:
        pose = looking(place.azimuth_deg, place.elevation_deg, roll, distance_mm)
        # Turned so that the wall's middle is beside that of the frame.
        x, y = (aside * value for value in place.aside)
        span = np.array([camera.width, camera.height]) / 2 / focal
        off = np.arctan([x * span[0], y * span[1]])
        rotation, _ = cv2.Rodrigues(np.array([-off[1], off[0], 0.0]))
        return Shot(lens, replace(pose, turn=rotation @ pose.turn), cells, corners)

    def fits(shot: Shot) -> bool:
        pixels = shot.lens.pixels(shot.pose.seen(shot.corners_mm))
        size = np.array([camera.width, camera.height])
        return bool(np.all(np.abs(pixels - size / 2) < place.fits * size / 2))

    for aside in (1.0, 0.5, 0.0):
        near, far = 0.2 * float(np.hypot(*half)), 1e6
        for _ in range(40):
            middle = math.sqrt(near * far)
            if pitch_of(at(middle, aside)) > place.pitch_px:
                near = middle
            else:
                far = middle
        if fits(at(far, aside)):
            return at(far, aside)
    while not fits(at(far, 0.0)):
        far *= 1.02
    return at(far, 0.0)


def pitch_of(shot: Shot) -> float:
    """Median px, over the wall, from a cell to its nearer neighbour across or down."""
    return float(min(np.median(steps) for steps in steps_of(shot)))


def steps_of(shot: Shot) -> list[Floats]:
    """Px from each cell to the next one down, and to the next one across, where there is one."""
    cells = shot.cells_px()
    return [
        np.linalg.norm(np.diff(cells, axis=axis), axis=-1)
        for axis in (0, 1)
        if cells.shape[axis] > 1
    ]
