"""Copper wire: gauge, resistance, and guidance on the largest current.

References: [1] ASTM B258-02, AWG sizes of solid round wires. [2] IEC 60028:1925, resistance of
copper.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache, lru_cache

import numpy as np
from numpy.typing import ArrayLike

from emulator.arrays import Floats
from emulator.description.power import COPPER_OHM_MM2_PER_M, THICKEST_AWG, THINNEST_AWG
from emulator.errors import OutOfRangeError

CAUTION = (
    "Guidance only. Mains wiring and fusing follow local codes and a licensed electrician; never"
    " work on live mains; verify with a meter before you rely on any of this."
)

TEMPERATURE_PER_K = 0.00393  # IEC 60028, at 20 °C
COLDEST_C, HOTTEST_C = -40.0, 105.0

# Amperes for short single wires in free air inside equipment ("chassis wiring"), as handbooks print
# them: from memory. Bundled, enclosed or long wires can carry much less.
FREE_AIR_A: Mapping[int, float] = {
    0: 245, 2: 181, 4: 135, 6: 101, 8: 73, 10: 55, 12: 41, 14: 32, 16: 22, 18: 16, 20: 11,
    22: 7, 24: 3.5, 26: 2.2, 28: 1.4, 30: 0.86,
}  # fmt: skip
AMPACITY_SOURCE = "chassis-wiring figures of handbooks, from memory; local codes come first"

# Ratings of blade fuses that are commonly sold: common practice, no source.
FUSES_A = (
    1.0,
    2.0,
    3.0,
    4.0,
    5.0,
    7.5,
    10.0,
    15.0,
    20.0,
    25.0,
    30.0,
    35.0,
    40.0,
    50.0,
    60.0,
    70.0,
    80.0,
    100.0,
)
FUSE_MARGIN = 1.25  # rating over running current: common practice, no source
BLOWS_AT = 1.35  # a blade fuse blows in minutes at so many times its rating: ISO 8820-3, memory


def awg_diameter_mm(awg: ArrayLike) -> Floats:
    """Diameter of a solid AWG wire, d = 0.127 mm · 92^((36 − awg)/39) [1].

    awg: whole gauge numbers, any shape, −3 (4/0) to 40. Raises OutOfRangeError.

    >>> awg_diameter_mm([10, 36]).round(3).tolist()
    [2.588, 0.127]
    """
    n = np.asarray(awg, dtype=np.float64)
    _within("awg", n, THICKEST_AWG, THINNEST_AWG, "a gauge from -3 (4/0) to 40")
    return np.asarray(0.127 * 92 ** ((36 - n) / 39))


def awg_area_mm2(awg: ArrayLike) -> Floats:
    """Cross-section of a solid AWG wire [1], in mm², shape of `awg`. Raises OutOfRangeError."""
    return np.asarray(np.pi / 4 * awg_diameter_mm(awg) ** 2)


def temperature_factor(temp_c: ArrayLike) -> Floats:
    """Resistance of copper at a temperature divided by that at 20 °C [2], shape of `temp_c`.

    temp_c: metal temperature, −40 to 105 °C. Raises OutOfRangeError.
    """
    t = np.asarray(temp_c, dtype=np.float64)
    _within("temp_c", t, COLDEST_C, HOTTEST_C, "a metal temperature from -40 to 105 °C")
    return np.asarray(1 + TEMPERATURE_PER_K * (t - 20))


def copper_ohm_per_m(area_mm2: ArrayLike, temp_c: ArrayLike = 20.0) -> Floats:
    """Resistance of one solid copper conductor per metre (a pair has two), in Ω/m.

    area_mm2: cross-section, above 0. temp_c: metal temperature, −40 to 105 °C; the two
    broadcast to the shape of the result.
    R = ρ (1 + α (T − 20 °C)) / A, ρ = 1/58 Ω·mm²/m, α = 0.00393 /K [2].
    Not modelled: stranding, plating, skin effect. Raises OutOfRangeError.

    >>> copper_ohm_per_m(awg_area_mm2([18, 22, 26])).round(4).tolist()
    [0.0209, 0.053, 0.1339]
    """
    area = np.asarray(area_mm2, dtype=np.float64)
    _within("area_mm2", area, 1e-6, 1e4, "a cross-section above 0")
    return np.asarray(COPPER_OHM_MM2_PER_M / area * temperature_factor(temp_c))


def ampacity_a(area_mm2: ArrayLike) -> Floats:
    """Guidance on the current a wire may carry: see AMPACITY_SOURCE and CAUTION.

    In amperes, shape of `area_mm2`: the figure of the thickest gauge in the table that is not
    thicker than the wire; nan for a wire thinner than AWG 30.
    """
    areas, amps = _free_air()
    return np.asarray(amps[np.searchsorted(areas, np.asarray(area_mm2), side="right")])


@cache
def _free_air() -> tuple[Floats, Floats]:
    """FREE_AIR_A as cross-sections from thin to thick, and the amperes below, between, above."""
    thin_first = sorted(FREE_AIR_A, reverse=True)
    areas = awg_area_mm2(thin_first) * (1 - 1e-9)  # so that a gauge of the table finds itself
    return areas, np.array([np.nan, *(FREE_AIR_A[n] for n in thin_first)])


def fuse_a(current_a: float, area_mm2: float, supply_a: float = np.inf) -> float | None:
    """The smallest common fuse that carries `current_a` with a margin and protects the wire.

    supply_a: the most that the wire's supply gives; a fuse that this current does not blow protects
    nothing. All in amperes and mm². Returns None if there is no such fuse: see `bears`. Guidance
    only: see CAUTION.
    """
    most = min(float(ampacity_a(area_mm2)), supply_a / BLOWS_AT)
    return next((f for f in FUSES_A if FUSE_MARGIN * current_a <= f <= most), None)


def bears(area_mm2: float, supply_a: float) -> bool:
    """Whether a wire can carry all that its supply gives, with a margin: then it needs no fuse."""
    return bool(FUSE_MARGIN * supply_a <= ampacity_a(area_mm2))


@lru_cache(maxsize=256)  # a wall has thousands of wires of a few gauges
def pair_area_mm2(gauge: tuple[str, float]) -> float:
    """Cross-section in mm² of each conductor; gauge: ('awg' | 'mm2', n) from the display file."""
    kind, number = gauge
    return number if kind == "mm2" else float(awg_area_mm2(number))


def _within(name: str, value: Floats, least: float, most: float, wanted: str) -> None:
    bad = ~((value >= least) & (value <= most))  # nan fails both
    if bad.any():
        found = float(value[bad].flat[0])
        raise OutOfRangeError(
            f"{name} is {found:g}, outside {least:g} to {most:g}", fix=f"give {wanted}."
        )
