"""Where a point of the wall is in a frame: pose, pinhole and the lens's distortion.

The wall is the plane z = 0: x right, y down, in mm from its middle, seen from the front, so that z
points into the wall. A camera's own axes are x right, y down, z forwards. The distortion is Brown
and Conrady's, with OpenCV's names and order (k1, k2, p1, p2, k3).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Lens:
    """A pinhole with distortion. focal_px: focal length; middle_px: (x, y) of the optical axis."""

    focal_px: float
    middle_px: tuple[float, float]
    distortion: tuple[float, float, float, float, float] = (0.0, 0.0, 0.0, 0.0, 0.0)

    def distorted(self, rays: Floats) -> Floats:
        """Ideal x/z, y/z (…, 2) → those behind the distorting lens."""
        k1, k2, p1, p2, k3 = self.distortion
        x, y = rays[..., 0], rays[..., 1]
        r2 = x * x + y * y
        radial = 1 + r2 * (k1 + r2 * (k2 + r2 * k3))
        return np.stack(
            (
                x * radial + 2 * p1 * x * y + p2 * (r2 + 2 * x * x),
                y * radial + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y,
            ),
            axis=-1,
        )

    def pixels(self, points: Floats) -> Floats:
        """Pixels (…, 2) of points (…, 3) in the camera's axes; NaN for points behind it."""
        depth = np.where(points[..., 2:] > 1e-9, points[..., 2:], np.nan)
        return self.distorted(points[..., :2] / depth) * self.focal_px + self.middle_px

    def rays(self, pixels: Floats) -> Floats:
        """Ideal x/z, y/z (…, 2) of pixels (…, 2): the distortion undone by fixed-point steps."""
        seen = (pixels - np.asarray(self.middle_px)) / self.focal_px
        ideal = seen.copy()
        for _ in range(30):
            ideal += seen - self.distorted(ideal)
        return ideal


@dataclass(frozen=True)
class Pose:
    """turn: (…, 3, 3), its rows are the camera's axes on the wall's axes. place_mm: (…, 3)."""

    turn: Floats
    place_mm: Floats

    def seen(self, points_mm: Floats) -> Floats:
        """Points (…, 3) of the wall's axes in the camera's axes."""
        return np.einsum("...ij,...j->...i", self.turn, points_mm - self.place_mm)

    def on_wall(self, rays: Floats) -> Floats:
        """Where rays (…, 2) meet the wall, (…, 2) mm; those that miss it go far to their side."""
        ahead = np.concatenate((rays, np.ones((*rays.shape[:-1], 1))), axis=-1)
        way = np.einsum("...ji,...j->...i", self.turn, ahead)
        deep = np.maximum(way[..., 2:], 0.02)
        return self.place_mm[..., :2] - self.place_mm[..., 2:] / deep * way[..., :2]


def looking(
    azimuth_deg: float,
    elevation_deg: float,
    roll_deg: float,
    distance_mm: float,
    aim_mm: tuple[float, float] = (0.0, 0.0),
) -> Pose:
    """A camera `distance_mm` from the point it looks at.

    azimuth_deg: how far to the right of the wall it stands, elevation_deg: how far above,
    roll_deg: how far it is turned clockwise about its own axis.
    """
    azimuth, elevation, roll = (
        math.radians(value) for value in (azimuth_deg, elevation_deg, roll_deg)
    )
    aim = np.array([*aim_mm, 0.0])
    out = np.array(
        [
            math.sin(azimuth) * math.cos(elevation),
            -math.sin(elevation),
            -math.cos(azimuth) * math.cos(elevation),
        ]
    )
    ahead = -out
    right = np.cross([0.0, 1.0, 0.0], ahead)
    right /= np.linalg.norm(right)
    down = np.cross(ahead, right)
    cos, sin = math.cos(roll), math.sin(roll)
    turn = np.stack((cos * right + sin * down, cos * down - sin * right, ahead))
    return Pose(turn, aim + distance_mm * out)
