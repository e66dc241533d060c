"""Light on a front behind an opening, by brute force, and the colour temperature of a white.

Illuminance of an element dA of a source with I(θ) = I0·cosᵐθ on a parallel plane at a height h:
dE = (I0/A)·cosᵐ⁺¹θ/r² dA (inverse-square and cosine laws; m = 1 is Lambert's). Walls are black and
upright: they hide of the source what lies behind them, and throw nothing back. Uniformity: EN
12464-1, U0 = Emin/Ē, and Emin/Emax. Planck's law with c2 = 1.438777e-2 m·K; colour matching: CIE
1931 2° (ISO/CIE 11664-1), as the package colour-science has it; distance in CIE 1960 u, v (CIE 15).
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy import optimize

Field = NDArray[np.float64]
_EDGES = np.linspace(-0.5, 0.5, 41)  # of the opening, where least and most are sought
_NODES, _WEIGHTS = (v / 2 for v in np.polynomial.legendre.leggauss(48))  # for the mean
_PARTS, _SHARES = (v / 2 for v in np.polynomial.legendre.leggauss(20))  # of the source


def beam_exponent(half_angle_deg: float) -> float:
    """m such that cosᵐ is a half at that angle."""
    return float(np.log(0.5) / np.log(np.cos(np.radians(half_angle_deg))))


def _seen_source(emitter_mm: float, off_mm: float, opening_mm: float) -> tuple[Field, Field]:
    """Places along a side of the source and the share of each; behind a wall there are none."""
    if emitter_mm == 0:
        return np.array([off_mm]), np.ones(1)
    low = max(off_mm - emitter_mm / 2, -opening_mm / 2)
    high = min(off_mm + emitter_mm / 2, opening_mm / 2)
    seen = max(high - low, 0.0)
    return (low + high) / 2 + seen * _PARTS, _SHARES * seen / emitter_mm


def illuminance(
    across: Field, down: Field, depth_mm: float, emitter_mm: float, off_mm: float, beam: float,
    opening_mm: float,
) -> Field:  # fmt: skip
    """(down, across): lux of a square source of 1 cd, off the middle downwards."""
    (xs, in_x), (ys, in_y) = (_seen_source(emitter_mm, off, opening_mm) for off in (0.0, off_mm))
    x2 = ((across[:, None] - xs) ** 2)[None, :, None, :]
    y2 = ((down[:, None] - ys) ** 2)[:, None, :, None]
    r2 = x2 + y2 + depth_mm**2
    light = (depth_mm**2 / r2) ** ((beam + 1) / 2) / r2
    return np.asarray(np.einsum("abcd,c,d->ab", light, in_y, in_x)) * 1e6


def uniformity(
    opening_mm: float, depth_mm: float, emitter_mm: float, off_mm: float = 0, beam: float = 1
) -> tuple[float, float]:
    """(min/mean, min/max) over the opening, edges and corners included."""
    said = (depth_mm, emitter_mm, off_mm, beam, opening_mm)
    edge, node = _EDGES * opening_mm, _NODES * opening_mm
    field = illuminance(edge, edge, *said)
    mean = _WEIGHTS @ illuminance(node, node, *said) @ _WEIGHTS
    return float(field.min() / mean), float(field.min() / field.max())


def tolerance(opening_mm: float, depth_mm: float, emitter_mm: float, beam: float = 1) -> float:
    """How far off the middle keeps nine tenths of min/mean."""
    whole = uniformity(opening_mm, depth_mm, emitter_mm, 0, beam)[0]

    def over(off: float) -> float:
        return uniformity(opening_mm, depth_mm, emitter_mm, off, beam)[0] - 0.9 * whole

    most = (opening_mm - emitter_mm) / 2
    if over(most) > 0:
        return most
    return float(optimize.brentq(over, 0, most, xtol=1e-3))


@cache
def _matching() -> tuple[Field, Field]:
    import colour

    found = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    return np.asarray(found.wavelengths), np.asarray(found.values)


def to_uv(x: float, y: float) -> Field:
    """CIE 1960 u, v."""
    return np.array([4 * x, 6 * y]) / (12 * y - 2 * x + 3)


def planck_uv(kelvin: float) -> Field:
    """CIE 1960 u, v of a black body."""
    nm, matching = _matching()
    metres = nm * 1e-9
    light = metres**-5.0 / np.expm1(1.438777e-2 / (metres * kelvin))
    big = light @ matching
    return to_uv(*(big[:2] / big.sum()))


def nearest_kelvin(x: float, y: float) -> tuple[float, float]:
    """(temperature, distance in u, v) of the nearest black body, 1000 to 200,000 K."""
    at = to_uv(x, y)
    grid = np.geomspace(1000, 200_000, 400)
    far = [np.hypot(*(planck_uv(k) - at)) for k in grid]
    n = int(np.clip(np.argmin(far), 1, len(grid) - 2))
    found = optimize.minimize_scalar(
        lambda log: np.hypot(*(planck_uv(np.exp(log)) - at)),
        bounds=(np.log(grid[n - 1]), np.log(grid[n + 1])), method="bounded",
        options={"xatol": 1e-9},
    )  # fmt: skip
    return float(np.exp(found.x)), float(found.fun)
