"""The light of the wall that reaches a camera in a gap.

The lens looks out, and LEDs shine forwards, so no LED reaches it directly. What reaches it is the
light that the front returns: its back, lit by LEDs, is matt (Lambertian) and returns the share that
it does not pass. Its luminance is L = (1 − transmission) · E / π, and a lens h behind it gets
dE = L · h² / (ρ² + h²)² dA from a piece of it at the distance ρ to the side. With walls between the
cells the lens sees only the front of its own gap, with the light that the front scatters there.
Without walls it sees the back of the whole front. A hood is a black tube before the lens: its rim
hides what is outside it.

Not modelled: light reflected by people and the room, the glow of the cut edge of the opening, light
that goes back and forth between walls, board and front, and flare within the lens.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from emulator.arrays import Floats
from emulator.description.camera import Camera, clear_gap_mm, gap_middle_mm, gap_size_mm
from emulator.description.display import Display
from emulator.light import eye
from emulator.light.cover import Axis, Spot, axes
from emulator.light.primaries import chip_primaries

_POINTS = 200  # on each axis of the front
_PUPIL = 24  # points of the lens
_FAR = 30.0  # front further to the side than so many h gives less than 1/900 of the light
_GOLDEN = math.pi * (3 - math.sqrt(5))

# What a front has at places (P,) right of and (Q,) below the axis of the lens: (Q, P).
Field = Callable[[Floats, Floats], Floats]
# Left, top, right and bottom of what the lens could see of the front, in mm from its axis.
Bounds = tuple[float, float, float, float]


@dataclass(frozen=True)
class CameraFigures:
    """What a camera in a gap needs, in mm, and the light that it gets from the wall, in lux.

    middle_mm: the axis of the lens, right of and below the corner of the first cell. opening_mm:
    diameter of the opening in the front. hood_mm, rim_mm: length and inner diameter of the hood, 0
    if it needs none. bare_lx, hooded_lx: on the lens, the wall fully lit in white, without the hood
    and with it.
    """

    gap: int
    middle_mm: tuple[float, float]
    opening_mm: float
    hood_mm: float
    rim_mm: float
    bare_lx: float
    hooded_lx: float


def camera_figures(display: Display) -> CameraFigures | None:
    """The figures of the camera of a display, None if it has none."""
    camera = display.camera
    if camera is None:
        return None
    gap = display.grid.gaps[camera.gap]
    middle = gap_middle_mm(gap, display.grid)
    hood_mm = camera.hood_for(gap_size_mm(gap, display.grid))
    field, bounds = _lit_front(display, middle), _seen(display, middle)
    returned = eye.luminance_cdm2(1.0, 1 - display.cover.transmission)
    bare, hooded = (returned * lux for lux in lens_lux(camera, (0.0, hood_mm), field, bounds))
    rim = camera.clear_mm(hood_mm) if hood_mm else 0.0
    return CameraFigures(camera.gap, middle, camera.opening_mm, hood_mm, rim, bare, hooded)


def lens_lux(
    camera: Camera, hoods_mm: Sequence[float], field: Field, bounds: Bounds
) -> list[float]:
    """Illuminance on the lens behind a hood of each length, from a front of `field` cd/m². [lx]

    The front is the rectangle `bounds` without the camera's opening. The points are close together
    before the lens, and further apart to the sides.
    """
    far_mm = camera.behind_mm
    if far_mm == 0:
        return [0.0] * len(hoods_mm)
    left, top, right, bottom = bounds
    scale_mm = max(far_mm, camera.opening_mm / 2)
    x, wide = _points(left, right, scale_mm)
    y, high = _points(top, bottom, scale_mm)
    aside = np.hypot(x, y[:, None])
    light = field(x, y) * wide * high[:, None] * (aside > camera.opening_mm / 2)
    count = np.arange(_PUPIL) + 0.5
    radius, turn = camera.lens_mm / 2 * np.sqrt(count / _PUPIL), _GOLDEN * count
    totals = [0.0] * len(hoods_mm)
    for px, py in zip(radius * np.cos(turn), radius * np.sin(turn), strict=True):
        from_x, from_y = x - px, (y - py)[:, None]
        part = light / (from_x**2 + from_y**2 + far_mm**2) ** 2
        for number, hood_mm in enumerate(hoods_mm):
            share = hood_mm / far_mm
            at_rim = np.hypot(px + from_x * share, py + from_y * share)
            # Without a hood the rim is the lens itself, and hides nothing.
            hidden = at_rim > camera.clear_mm(hood_mm) / 2 if hood_mm else False
            totals[number] += float(np.where(hidden, 0.0, part).sum())
    return [total * far_mm**2 / _PUPIL for total in totals]


def _points(low_mm: float, high_mm: float, scale_mm: float) -> tuple[Floats, Floats]:
    """Midpoints (P,) between two ends and their widths, in steps even in asinh(x / scale)."""
    edges = scale_mm * np.sinh(
        np.linspace(math.asinh(low_mm / scale_mm), math.asinh(high_mm / scale_mm), _POINTS + 1)
    )
    return (edges[1:] + edges[:-1]) / 2, np.diff(edges)


def _seen(display: Display, middle_mm: tuple[float, float]) -> Bounds:
    """What the lens could see of the front: its gap between walls; without walls, all of it."""
    camera, grid, cover = display.camera, display.grid, display.cover
    assert camera is not None
    if cover.walls != "none":
        width, height = clear_gap_mm(grid.gaps[camera.gap], grid, cover)
        return -width / 2, -height / 2, width / 2, height / 2
    far_mm = _FAR * max(camera.behind_mm, camera.opening_mm / 2)
    (across, down), (x, y) = grid.pitches_mm, middle_mm
    return (
        -min(x, far_mm),
        -min(y, far_mm),
        min(grid.columns * across - x, far_mm),
        min(grid.rows * down - y, far_mm),
    )


def _lit_front(display: Display, middle_mm: tuple[float, float]) -> Field:
    """The light on the back of the front with every cell in full white, by the model of cover.py.

    It counts only the LEDs whose light can reach the places asked for.
    """
    spot = Spot.before(display)
    candela = chip_primaries(display.chip).intensity_cd
    both = axes(display)

    def field(x_mm: Floats, y_mm: Floats) -> Floats:
        lit = ~display.gap
        (fx, columns), (fy, rows) = (
            _profiles(spot, axis, at + middle, count)
            for axis, at, middle, count in zip(
                both, (x_mm, y_mm), middle_mm, reversed(lit.shape), strict=True
            )
        )
        cells = lit[rows, columns].astype(np.float64)
        light = np.zeros((len(y_mm), len(x_mm)))
        for k, weight in enumerate(spot.weight):
            light += weight * (fy[:, :, k] @ cells @ fx[:, :, k].T)
        return candela * light

    return field


def _profiles(spot: Spot, axis: Axis, at_mm: Floats, count: int) -> tuple[Floats, slice]:
    """f_k (P, C, K) at places (P,) on the wall, of the cells C in reach, and these as a slice."""
    reach = spot.reach_mm(axis)
    first = max(math.floor((float(at_mm.min()) - reach) / axis.pitch_mm - 0.5), 0)
    last = min(math.ceil((float(at_mm.max()) + reach) / axis.pitch_mm + 0.5), count)
    near = np.arange(first, max(last, first))
    away = at_mm[:, None] - axis.pitch_mm * (near + 0.5)
    return spot.profiles(away, axis), slice(first, max(last, first))
