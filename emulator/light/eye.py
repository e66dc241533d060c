"""How an eye sees a lit wall: blur and letters at a distance, contrast in ambient light."""

from __future__ import annotations

import math

from emulator.description.light import Cover

ARCMINUTE = math.radians(1 / 60)

# Snellen: 20/20 vision resolves strokes of one arcminute; a letter is five strokes high.
STROKE_ARCMIN, LETTER_ARCMIN = 1.0, 5.0
# The least height of a capital letter in cells: three bars and two spaces between them, as in E.
LETTER_CELLS = 5

_FWHM = 2 * math.sqrt(2 * math.log(2))  # of a Gaussian, in standard deviations


def blur_mm(distance_m: float) -> float:
    """Standard deviation of the eye's blur on the front, in mm: one arcminute at half height."""
    return distance_m * 1000 * math.tan(ARCMINUTE) / _FWHM


def letter_height_mm(distance_m: float, pitch_mm: float) -> float:
    """Height of the smallest readable letter, in mm: five arcminutes, but at least five cells."""
    return max(distance_m * 1000 * math.tan(LETTER_ARCMIN * ARCMINUTE), LETTER_CELLS * pitch_mm)


def reading_distance_m(height_mm: float) -> float:
    """The largest distance, in m, at which you can read a letter of that height."""
    return height_mm / 1000 / math.tan(LETTER_ARCMIN * ARCMINUTE)


def fusing_distance_m(pitch_mm: float) -> float:
    """The distance, in m, at which neighbouring cells are one arcminute apart and merge."""
    return pitch_mm / 1000 / math.tan(STROKE_ARCMIN * ARCMINUTE)


def luminance_cdm2(illuminance_lx: float, share: float) -> float:
    """Luminance of a matt (Lambertian) face that returns a share of the light it gets: E·ρ/π."""
    return illuminance_lx * share / math.pi


def ambient_cdm2(cover: Cover, ambient_lx: float) -> float:
    """Luminance of the front in ambient light, in cd/m²: it reflects what it does not transmit."""
    return luminance_cdm2(ambient_lx, 1 - cover.transmission)
