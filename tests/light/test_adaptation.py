"""What looks white to an eye in the dark."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import dblquad

from emulator import parse_display
from emulator.light.adaptation import (
    LEAST_CDM2,
    MIDDLE_GREY,
    SETTLING_NS,
    DarkEye,
    response,
    share_of_field,
)


def wall(columns, rows, pitch_mm=100):
    text = f"[grid]\ncolumns={columns}\nrows={rows}\npitch_mm={pitch_mm}\n"
    return parse_display(text + "[chip]\npart='WS2812B'\n[wiring]\n", Path("wall.toml"))


# A cone of 20°: 2π(1 − cos 10°) sr, the definition of the steradian.
CONE_SR = 0.09546


def test_a_small_wall_fills_area_over_distance_squared():
    # 1 m² from 20 m: 1/400 sr, except for (d/√(d²+…))³ of less than 0.1 %.
    assert share_of_field(wall(10, 10), 20) == pytest.approx(1 / 400 / CONE_SR, rel=2e-3)


def test_a_wide_wall_agrees_with_the_integral_over_it():
    # ∫∫ d / (x² + y² + d²)^(3/2): solid angle of a plane piece, integrated by scipy.
    distance_m, half_wide, half_high = 4.0, 0.6, 0.3
    by_scipy, _ = dblquad(
        lambda y, x: distance_m / (x * x + y * y + distance_m**2) ** 1.5,
        -half_wide,
        half_wide,
        -half_high,
        half_high,
    )
    assert share_of_field(wall(12, 6), distance_m) == pytest.approx(by_scipy / CONE_SR, rel=1e-4)


def test_from_close_by_the_wall_is_all_there_is_and_a_long_one_counts_within_the_field():
    assert share_of_field(wall(20, 20), 0.5) == 1
    # 100 m × 0.1 m from 5 m: what lies within 2 · 5 m · tan 10° = 1.763 m of width counts.
    long_wall, short_wall = wall(1000, 1), wall(1763, 1, pitch_mm=1)
    assert share_of_field(long_wall, 5) < 1.1 * share_of_field(short_wall, 5) * 100
    assert share_of_field(long_wall, 5) == pytest.approx(1.763 * 0.1 / 25 / CONE_SR, rel=0.05)


def test_the_mean_of_what_is_seen_comes_out_a_middle_grey():
    # Half the field at 36 cd/m²: used to 18, so white is at 100.
    assert DarkEye(0.5, 1e6).white_cdm2(36, 0) == pytest.approx(18 / 0.18)


def test_white_is_never_above_the_wall_s_own_nor_below_what_the_rods_alone_see():
    assert DarkEye(1, 400).white_cdm2(300, 0) == 400
    assert DarkEye(1, 400).white_cdm2(0, 0) == pytest.approx(LEAST_CDM2 / MIDDLE_GREY)


def test_the_eye_follows_a_jump_by_63_percent_in_the_settling_time():
    eye = DarkEye(1, 1e6)
    eye.white_cdm2(1, 0)
    white = eye.white_cdm2(100, SETTLING_NS)
    # 1 − 1/e of the way, in the logarithm.
    assert math.log(white * MIDDLE_GREY) == pytest.approx(0.6321 * math.log(100), rel=1e-3)


def test_small_steps_lead_where_one_large_step_does():
    fine, coarse = DarkEye(1, 1e6), DarkEye(1, 1e6)
    for eye in (fine, coarse):
        eye.white_cdm2(5, 0)
    for number in range(1, 31):
        white = fine.white_cdm2(80, number * 100_000_000)
    assert white == pytest.approx(coarse.white_cdm2(80, 3_000_000_000))


def test_a_clock_set_back_finds_the_eye_used_to_what_it_sees():
    eye = DarkEye(1, 1e6)
    eye.white_cdm2(1, 5_000_000_000)
    assert eye.white_cdm2(18, 0) == pytest.approx(100)


def test_the_response_by_hand():
    # Reinhard et al. (2002), eq. 4, from memory, with w = 10: x = 1 (white) gives 1.01/2; x = 10
    # (full drive) gives 1; x = 0.01 gives 0.01 · 1.0001/1.01.
    light = np.array([[0.1, 0.05, 0], [1, 1, 1], [0.001, 0, 0]], np.float32)
    seen = response(light, 10.0)
    assert seen[0].tolist() == pytest.approx([0.505, 0.2525, 0])
    assert seen[1].tolist() == pytest.approx([1, 1, 1])
    assert seen[2, 0] == pytest.approx(0.01 * 1.0001 / 1.01, rel=1e-4)


@given(
    st.lists(st.floats(0, 1, width=32), min_size=3, max_size=3),
    st.floats(1, 1000),
)
def test_the_response_lifts_what_is_faint_keeps_hues_and_cuts_nothing_off(light, gain):
    given_light = np.array(light, np.float32)
    seen = response(given_light, gain)
    assert (seen >= given_light * (1 - 1e-5)).all()
    assert seen.max() <= 1 + 1e-5
    # Ratios of the channels stay: every pair crosses out.
    outer = np.outer(seen, given_light)
    assert np.allclose(outer, outer.T, rtol=1e-4, atol=1e-6)


def test_an_eye_used_to_full_white_sees_the_drive_itself():
    light = np.linspace(0, 1, 30, dtype=np.float32).reshape(10, 3)
    assert response(light, 1.0) == pytest.approx(light, abs=1e-6)
