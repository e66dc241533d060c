"""Where a point of the wall falls in the picture: a 3 × 4 matrix, and a lens that bends."""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class View:
    """A camera: `matrix` (3, 4) from the wall, in column pitches, z towards the viewer, to the
    sensor of width × height pixels; `bend` is the radial term: the radius grows by bend · (r / half
    diagonal)²."""

    matrix: np.ndarray
    width: int
    height: int
    bend: float = 0.0

    def __call__(self, points: np.ndarray) -> np.ndarray:
        """(M, 3) points of the wall to (M, 2) pixels."""
        seen = np.c_[points, np.ones(len(points))] @ self.matrix.T
        flat = seen[:, :2] / seen[:, 2:]
        middle = np.array([self.width, self.height]) / 2
        off = (flat - middle) / np.linalg.norm(middle)
        return middle + (flat - middle) * (1 + self.bend * (off**2).sum(axis=1, keepdims=True))

    def local(self, points: np.ndarray) -> np.ndarray:
        """(M, 2, 2) how pixels change with the wall's x and y around each point."""
        step = 1e-3  # pitches
        right, below = np.array([step, 0, 0]), np.array([0, step, 0])
        across = (self(points + right) - self(points - right)) / (2 * step)
        down = (self(points + below) - self(points - below)) / (2 * step)
        return np.stack([across, down], axis=2)


def aimed(
    size: tuple[float, float], frame: tuple[int, int], turns: tuple[float, float, float], *,
    far: float = 2.0, fill: float = 0.8, aside: tuple[float, float] = (0, 0), bend: float = 0.0,
) -> View:  # fmt: skip
    """A camera that looks at the middle of a wall of size (across, down).

    turns: yaw, pitch and roll in degrees. far: distance in wall diagonals. fill: the share of the
    frame that the wall takes in the direction that is tight. aside: shift of the picture in shares
    of the frame.
    """
    yaw, pitch, roll = np.radians(turns)
    about_y = np.array([[np.cos(yaw), 0, np.sin(yaw)], [0, 1, 0], [-np.sin(yaw), 0, np.cos(yaw)]])
    about_x = np.array(
        [[1, 0, 0], [0, np.cos(pitch), -np.sin(pitch)], [0, np.sin(pitch), np.cos(pitch)]]
    )
    about_z = np.array(
        [[np.cos(roll), -np.sin(roll), 0], [np.sin(roll), np.cos(roll), 0], [0, 0, 1]]
    )
    turn = about_z @ about_x @ about_y
    across, down = size
    centre = np.array([across / 2, down / 2, 0])
    move = np.array([0, 0, far * np.hypot(across, down)]) - turn @ centre
    outside = np.c_[turn, move]
    corners = np.array([[0, 0, 0, 1], [across, 0, 0, 1], [0, down, 0, 1], [across, down, 0, 1]])
    seen = corners @ outside.T
    flat = seen[:, :2] / seen[:, 2:]
    low, high = flat.min(axis=0), flat.max(axis=0)
    focal = fill * np.min(np.array(frame) / (high - low))
    middle = np.array(frame) * (0.5 + np.array(aside)) - focal * (low + high) / 2
    inside = np.array([[focal, 0, middle[0]], [0, focal, middle[1]], [0, 0, 1]])
    return View(inside @ outside, *frame, bend)
