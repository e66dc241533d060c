"""The CIE 1931 2° standard observer: XYZ, chromaticity and colour temperature of light."""

from __future__ import annotations

import importlib.resources
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from emulator.arrays import Floats

D65_XY = (0.3127, 0.3290)  # IEC 61966-2-1, the white of an sRGB screen

# CIE 15: further than this from the Planckian locus in CIE 1960 uv there is no correlated colour
# temperature.
MOST_OFF_LOCUS = 0.05
_PLANCK_C2 = 1.4388e-2  # m·K, second radiation constant of ITS-90, which CIE 15 uses
_LEAST_K, _MOST_K = 1000.0, 100_000.0
_ROUNDS = 3  # each searches finer; a parabola is then within 0.001 K (measured)


@lru_cache(maxsize=1)
def matching_functions() -> tuple[Floats, Floats]:
    """Wavelengths (471,) in nm and x̄, ȳ, z̄ (471, 3): ISO/CIE 11664-1, 360 to 830 nm.

    The table is made by tests/outside/make_cie1931.py.
    """
    file = importlib.resources.files("emulator.light") / "cie1931_1nm.csv"
    table = np.loadtxt(file.read_text(encoding="utf-8").splitlines()[1:], delimiter=",")
    return table[:, 0], table[:, 1:]


def narrow_band_xyz(wavelength_nm: ArrayLike, width_nm: ArrayLike, luminous: ArrayLike) -> Floats:
    """XYZ (…, 3) of LEDs whose spectrum is a Gaussian, scaled so that Y is `luminous`.

    wavelength_nm: the peak. width_nm: full width at half maximum, at least 2 nm because the table
    has steps of 1 nm. luminous: any photometric figure, such as mcd: Y has its unit. The three
    broadcast to (…).
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


class ColourTemperature(NamedTuple):
    """The black body whose colour is nearest to that of a light, in CIE 1960 uv (CIE 15).

    kelvin: the correlated colour temperature; None if there is none. off_locus: distance of the
    light from that black body in uv, below 0 on the pink side. why: why there is none, in words.
    """

    kelvin: float | None
    off_locus: float
    why: str = ""


def colour_temperature(xyz: ArrayLike) -> ColourTemperature:
    """Correlated colour temperature of XYZ (3,), within 1 K from 2000 to 20,000 K.

    This is the nearest point of the Planckian locus between 1000 and 100,000 K. There is none if
    that point is more than 0.05 away or at an end: the light is bluer or redder than those black
    bodies.
    """
    own = _uv(np.asarray(xyz, dtype=np.float64))
    ends = 1 / _MOST_K, 1 / _LEAST_K  # equal steps of the reciprocal look about equal to the eye
    low, high = ends
    for round_ in range(_ROUNDS):
        reciprocal = np.linspace(low, high, 301 if round_ == 0 else 41)
        away = _uv(planckian_xyz(1 / reciprocal)) - own
        square = (away**2).sum(axis=1)
        nearest = int(square.argmin())
        low, high = reciprocal[[max(nearest - 1, 0), min(nearest + 1, len(square) - 1)]]
    (u, v), off = away[nearest], float(np.sqrt(square[nearest]))
    # The locus goes from blue on the left to red on the right; pink is below it.
    off_locus = off if v < 0 or (v == 0 and u > 0) else -off
    if reciprocal[nearest] in ends:
        blue = reciprocal[nearest] == ends[0]
        why = f"bluer than {_MOST_K:,.0f} K" if blue else f"redder than {_LEAST_K:,.0f} K"
        return ColourTemperature(None, off_locus, why)
    if off > MOST_OFF_LOCUS:
        return ColourTemperature(None, off_locus, f"{off:.3f} from any black body")
    before, at, after = square[nearest - 1 : nearest + 2]
    step = reciprocal[1] - reciprocal[0]
    turn = before - 2 * at + after
    vertex = reciprocal[nearest] + (step * (before - after) / (2 * turn) if turn > 0 else 0.0)
    return ColourTemperature(float(1 / vertex), off_locus)


def _uv(xyz: Floats) -> Floats:
    """CIE 1960 u, v (…, 2)."""
    x, y, z = np.moveaxis(xyz, -1, 0)
    below = x + 15 * y + 3 * z
    return np.stack([4 * x / below, 6 * y / below], axis=-1)
