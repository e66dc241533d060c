"""Blur, letters and glare at a distance, calculated by hand."""

from __future__ import annotations

import math

import pytest

from emulator.description.light import Cover
from emulator.light import eye


def test_one_arcminute_at_six_metres_is_1_75_mm():
    # 6 m · tan(1/60°) = 1.7453 mm; of a Gaussian the width at half height is 2.3548 σ.
    assert eye.blur_mm(6.0) * 2.354820 == pytest.approx(1.7453, abs=1e-4)


def test_cells_fuse_where_they_lie_an_arcminute_apart():
    # 33.33 mm / tan(1/60°) = 114.6 m.
    assert eye.fusing_distance_m(33.333) == pytest.approx(114.59, abs=0.01)


def test_coarse_cells_set_the_smallest_letter_near_by_and_the_eye_far_off():
    assert eye.letter_height_mm(3, 20) == 100, "five cells of 20 mm"
    far = eye.letter_height_mm(200, 20)
    assert far == pytest.approx(200_000 * math.tan(math.radians(5 / 60)))
    assert eye.reading_distance_m(far) == pytest.approx(200)


def test_light_thrown_back_by_a_matt_front():
    # A matt face with all light thrown back: 1 lx gives 1/π cd/m². Here half of 314.16 lx is.
    assert eye.ambient_cdm2(Cover(transmission=0.5), 314.159265) == pytest.approx(50.0)
    assert eye.ambient_cdm2(Cover(transmission=1.0), 1000) == 0
