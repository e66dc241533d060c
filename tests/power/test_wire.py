from __future__ import annotations

import numpy as np
import pytest

from emulator import ForeglowError
from emulator.errors import OutOfRangeError
from emulator.power.wire import (
    CAUTION,
    FREE_AIR_A,
    FUSE_MARGIN,
    FUSES_A,
    ampacity_a,
    awg_area_mm2,
    awg_diameter_mm,
    copper_ohm_per_m,
    fuse_a,
    pair_area_mm2,
    temperature_factor,
)


@pytest.mark.parametrize(
    ("call", "value", "said"),
    [
        (awg_diameter_mm, 41, "awg is 41"),
        (awg_area_mm2, [18, -4], "awg is -4"),
        (copper_ohm_per_m, 0.0, "area_mm2 is 0"),
        (copper_ohm_per_m, float("nan"), "area_mm2 is nan"),
        (temperature_factor, 300.0, "temp_c is 300"),
    ],
)
def test_figures_outside_the_tables_are_refused_by_name_and_value(call, value, said):
    with pytest.raises(OutOfRangeError, match=said) as caught:
        call(value)
    assert isinstance(caught.value, ForeglowError)
    assert "Fix:" in str(caught.value)


def test_an_array_of_gauges_gives_what_each_gives_alone():
    gauges = np.arange(-3, 41)
    each = [float(copper_ohm_per_m(awg_area_mm2(n), 40.0)) for n in gauges]
    assert copper_ohm_per_m(awg_area_mm2(gauges), 40.0) == pytest.approx(each, rel=1e-15)


def test_ampacity_of_a_tabled_gauge_is_its_figure_and_between_gauges_the_thinner_ones():
    for awg, amps in FREE_AIR_A.items():
        assert ampacity_a(awg_area_mm2(awg)) == amps
    assert ampacity_a(awg_area_mm2(17)) == FREE_AIR_A[18]
    assert ampacity_a(0.75) == FREE_AIR_A[20]  # mm²; AWG 18 has 0.82
    assert np.isnan(ampacity_a(awg_area_mm2(34)))


def test_a_fuse_carries_the_current_and_protects_the_wire_or_there_is_none():
    for awg in FREE_AIR_A:
        area = float(awg_area_mm2(awg))
        for current in (0.1, 1.0, 3.9, 4.0, 12.0, 60.0):
            fuse = fuse_a(current, area)
            fitting = [f for f in FUSES_A if FUSE_MARGIN * current <= f <= FREE_AIR_A[awg]]
            assert fuse == (fitting[0] if fitting else None)
    assert fuse_a(4.0, pair_area_mm2(("awg", 18))) == 5.0
    assert fuse_a(20.0, pair_area_mm2(("mm2", 0.2))) is None
    assert fuse_a(0.1, 0.01) is None  # thinner than every tabled gauge


def test_the_caution_names_codes_electrician_mains_and_meter():
    for word in ("Guidance only", "local codes", "licensed electrician", "live mains", "meter"):
        assert word in CAUTION
