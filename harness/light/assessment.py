"""The figures of light: brightness, evenness, colours and depths of a display."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from emulator.description.display import Display
from emulator.light.camera import CameraFigures, camera_figures
from emulator.light.eye import reading_distance_m
from emulator.light.figures import EVEN, Figures, by_depth, even_depth_mm, figures, knee
from emulator.light.front import OffCentre, off_centre, tolerance_mm, widest_off_mm
from emulator.light.observer import chromaticity
from emulator.light.primaries import chip_primaries
from harness.light.fed import Fed, white_as_fed

_DEPTHS = 40
_OFF_MM = (1.0, 2.0, 3.0)  # typical errors of a strip glued by hand


@dataclass(frozen=True)
class Depths:
    """Uniformity and cross-talk against depth: each a list as long as depth_mm.

    knee_mm: the depth beyond which uniformity improves less; None if depth hardly changes it. even:
    the min/mean that [cover] asks for, else 0.8. even_mm: the depth that reaches it; None if 4
    pitches do not.
    """

    depth_mm: list[float]
    min_to_mean: list[float]
    crosstalk: list[float]
    knee_mm: float | None
    even: float
    even_mm: float | None


@dataclass(frozen=True)
class Gluing:
    """The effect of a strip off the middle of its cells: at 1, 2 and 3 mm, while LEDs stay inside.

    tolerance_mm: how far off min/mean keeps 0.9 of that in the middle; None if it does so up to
    limit_mm, where the whole LED is just in the opening or, without walls, in its cell.
    """

    at: list[OffCentre]
    tolerance_mm: float | None
    limit_mm: float


@dataclass(frozen=True)
class White:
    """Full white: CIE 1931 x, y, its correlated colour temperature, and the gains of R, G and B
    that make D65 (None: the channels cannot make it).

    temperature_k: None if it has none; no_temperature then says why. off_locus: how far it is from
    a black body in CIE 1960 uv, less than 0 towards pink.
    """

    x: float
    y: float
    temperature_k: float | None
    no_temperature: str
    off_locus: float
    d65_gains: list[float] | None


@dataclass(frozen=True)
class LightReport:
    """Everything that the command reports.

    reads_from_m: the distance from which letters as high as the wall can be read. camera:
    None if the display has none.
    """

    figures: Figures
    fed: Fed
    white: White
    depths: Depths
    gluing: Gluing
    reads_from_m: float
    camera: CameraFigures | None


def assess_light(
    display: Display, distance_m: float | None = None, ambient_lx: float | None = None
) -> LightReport:
    """The report for a distance in m and ambient light in lx; by default those of [view]."""
    found = figures(display, distance_m, ambient_lx)
    widest = max(display.grid.pitches_mm)
    depths = np.linspace(0.1 * widest, max(2 * widest, 1.2 * display.cover.depth_mm), _DEPTHS)
    uniform, leak = by_depth(display, depths)
    even = display.cover.least_min_to_mean or EVEN
    primaries = chip_primaries(display.chip)
    x, y = chromaticity(primaries.white)
    gains, warmth = primaries.gains_for(), primaries.white_temperature
    bend = knee(depths, uniform)
    return LightReport(
        found,
        white_as_fed(display, found),
        White(
            float(x),
            float(y),
            warmth.kelvin,
            warmth.why,
            round(warmth.off_locus, 4),
            [round(float(g), 4) for g in gains] if gains.min() > 0 else None,
        ),
        Depths(
            [round(float(d), 3) for d in depths],
            [round(float(v), 4) for v in uniform],
            [round(float(v), 5) for v in leak],
            None if bend is None else float(depths[bend]),
            even,
            even_depth_mm(display, even),
        ),
        gluing(display),
        reading_distance_m(display.grid.rows * display.grid.pitches_mm[1]),
        camera_figures(display),
    )


def gluing(display: Display) -> Gluing:
    """The effect on the display if its strips are glued off the middle."""
    limit_mm = widest_off_mm(display)
    at = [off_centre(display, off_mm) for off_mm in _OFF_MM if off_mm <= limit_mm]
    return Gluing(at, tolerance_mm(display), limit_mm)
