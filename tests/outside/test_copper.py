"""Copper wire against ASTM B258, IEC 60028 and the wire tables of handbooks."""

from __future__ import annotations

import math

import pytest

from emulator.description.power import FOIL_OHM_PER_M, PowerSection
from emulator.power.wire import awg_area_mm2, awg_diameter_mm, copper_ohm_per_m


# ASTM B258: No. 36 is 0.0050 in and No. 4/0 is 0.4600 in by definition, 39 steps apart, so that
# six steps thinner nearly halve the diameter: 92^(6/39) = 2.0050.
def test_gauges_are_those_of_astm_b258():
    assert awg_diameter_mm(36) == pytest.approx(0.0050 * 25.4, rel=1e-12)
    assert awg_diameter_mm(-3) == pytest.approx(0.4600 * 25.4, rel=1e-12)
    assert awg_diameter_mm(12) / awg_diameter_mm(18) == pytest.approx(2.0050, abs=5e-5)


# Handbook (solid copper, 20 °C), as in the project's reference figures.
@pytest.mark.parametrize(
    ("awg", "ohm_per_km"), [(10, 3.277), (14, 8.286), (18, 20.95), (22, 52.96), (24, 84.2)]
)
def test_resistance_of_a_gauge_is_within_a_percent_of_the_handbook(awg, ohm_per_km):
    assert 1000 * copper_ohm_per_m(awg_area_mm2(awg)) == pytest.approx(ohm_per_km, rel=0.01)


# IEC 60028: a wire of annealed copper, 1 m long and 1 mm² in section, has 1/58 Ω (0.017241) at
# 20 °C, and 0.00393 of that more for each kelvin.
def test_annealed_copper_is_that_of_iec_60028():
    assert copper_ohm_per_m(1.0) == pytest.approx(0.017241, abs=5e-7)
    assert copper_ohm_per_m(1.0, 21.0) / copper_ohm_per_m(1.0) == pytest.approx(1.00393)
    assert copper_ohm_per_m(1.0, 75.0) / copper_ohm_per_m(1.0) == pytest.approx(1.216, abs=5e-4)


# Computed by hand from IEC 60028: 0.017241 Ω·mm²/m over 0.070 mm × 2.5 mm = 0.175 mm².
def test_a_strip_of_two_ounce_copper_has_a_tenth_of_an_ohm_a_metre():
    assert pytest.approx(0.017241 / 0.175, abs=1e-4) == FOIL_OHM_PER_M
    assert PowerSection().rail_ohm_per_m == FOIL_OHM_PER_M


def test_area_follows_from_the_diameter():
    assert awg_area_mm2(18) == pytest.approx(math.pi / 4 * 1.0237**2, rel=1e-3)  # B258: 1.024 mm
