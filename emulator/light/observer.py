"""The CIE 1931 2° standard observer, and what it says about light: XYZ, chromaticity, CCT."""

from __future__ import annotations

import importlib.resources
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

D65_XY = (0.3127, 0.3290)  # IEC 61966-2-1, the white of an sRGB screen

# CIE 15: further from the Planckian locus in CIE 1960 uv, a correlated temperature means nothing.
MOST_OFF_LOCUS = 0.05
_PLANCK_C2 = 1.4388e-2  # m·K, second radiation constant (CODATA)
_LEAST_K, _MOST_K = 1000.0, 100_000.0


@lru_cache(maxsize=1)
def matching_functions() -> tuple[Floats, Floats]:
    """Wavelengths (81,) in nm and x̄, ȳ, z̄ (81, 3) at 5 nm: ISO/CIE 11664-1, 380 to 780 nm.

    The table is made by tests/outside/make_cie1931.py.
    """
    file = importlib.resources.files("emulator.light") / "cie1931_5nm.csv"
    table = np.loadtxt(file.read_text(encoding="utf-8").splitlines()[1:], delimiter=",")
    return table[:, 0], table[:, 1:]


def narrow_band_xyz(wavelength_nm: ArrayLike, width_nm: ArrayLike, luminous: ArrayLike) -> Floats:
    """XYZ (…, 3) of LEDs whose spectrum is a Gaussian, scaled so that Y is `luminous`.

    wavelength_nm: peak; width_nm: full width at half maximum, 10 nm or more for the 5 nm table
    to hold it; luminous: any photometric figure, such as mcd: Y has its unit.
    """
    nm, functions = matching_functions()
    peak, width = (np.asarray(v, dtype=np.float64)[..., None] for v in (wavelength_nm, width_nm))
    xyz = np.exp(-4 * np.log(2) * ((nm - peak) / width) ** 2) @ functions
    scaled: Floats = xyz * (np.asarray(luminous, dtype=np.float64) / xyz[..., 1])[..., None]
    return scaled


def chromaticity(xyz: ArrayLike) -> Floats:
    """CIE 1931 x, y (…, 2) of XYZ (…, 3)."""
    values = np.asarray(xyz, dtype=np.float64)
    result: Floats = values[..., :2] / values.sum(axis=-1, keepdims=True)
    return result


def white_xyz(xy: tuple[float, float]) -> Floats:
    """XYZ (3,) of a chromaticity at Y = 1."""
    x, y = xy
    return np.array([x / y, 1.0, (1 - x - y) / y])


def planckian_xyz(kelvin: ArrayLike) -> Floats:
    """XYZ (…, 3), Y = 1, of a black body at a temperature: Planck's law through the observer."""
    nm, functions = matching_functions()
    metres, hot = nm * 1e-9, np.asarray(kelvin, dtype=np.float64)[..., None]
    xyz = (metres**-5 / np.expm1(_PLANCK_C2 / (hot * metres))) @ functions
    scaled: Floats = xyz / xyz[..., 1:2]
    return scaled


def colour_temperature_k(xyz: ArrayLike) -> float | None:
    """Correlated colour temperature of XYZ (3,), or None where CIE 15 gives none.

    The nearest point of the Planckian locus in CIE 1960 uv between 1000 and 100,000 K; none
    where that is more than 0.05 away, or at an end of the range: a light bluer than any hot body.
    """
    reciprocal = np.linspace(1 / _MOST_K, 1 / _LEAST_K, 4001)  # even steps to the eye
    off = np.linalg.norm(_uv(planckian_xyz(1 / reciprocal)) - _uv(np.asarray(xyz)), axis=1)
    nearest = int(off.argmin())
    if off[nearest] > MOST_OFF_LOCUS or nearest in (0, len(off) - 1):
        return None
    return float(1 / reciprocal[nearest])


def _uv(xyz: Floats) -> Floats:
    """CIE 1960 u, v (…, 2)."""
    x, y, z = np.moveaxis(xyz, -1, 0)
    below = x + 15 * y + 3 * z
    return np.stack([4 * x / below, 6 * y / below], axis=-1)
