"""Automatic levels against numpy's percentiles, and their bounds."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator.picture.levels import MOST_GAIN, SLOW_S, AutoLevels


def scene(dark, bright, seed=1):
    """A grey picture (20, 30, 3) whose 2nd and 98th percentiles are about these."""
    light = np.random.default_rng(seed).uniform(dark, bright, (20, 30, 1))
    return np.repeat(light, 3, axis=2).astype(np.float32)


def test_the_first_picture_goes_from_black_to_full_light():
    shown = AutoLevels()(scene(0.1, 0.3), 0.0)
    # numpy.percentile is the reference; 2 % at either end are cut off
    assert np.percentile(shown, (2, 98)) == pytest.approx((0, 1), abs=0.03)


def test_what_is_well_exposed_stays_as_it_is():
    light = scene(0, 1)
    assert AutoLevels()(light, 0.0) == pytest.approx(light, abs=0.05)


def test_noise_in_the_dark_stays_dark():
    shown = AutoLevels()(scene(0, 0.004), 0.0)
    assert shown.max() <= 0.004 * MOST_GAIN


def test_a_plain_picture_keeps_half_of_its_light():
    # black is at most half of the bright percentile, so a wall of one grey does not turn black
    assert AutoLevels()(scene(0.5, 0.5), 0.0).mean() == pytest.approx(1.0, abs=0.01)
    assert AutoLevels()(scene(0.05, 0.05), 0.0).mean() == pytest.approx(0.2, abs=0.01)


def test_a_sudden_change_is_followed_slowly():
    levels, light = AutoLevels(), scene(0, 1)
    for step in range(60):
        levels(light, step / 30)
    before = levels(light, 2.0)
    dimmed = levels(scene(0, 0.25), 2.0 + 1 / 30)
    assert dimmed.max() == pytest.approx(0.25, abs=0.02)  # nothing has moved yet
    assert levels(scene(0, 0.25), 2.0 + 6 * SLOW_S).max() == pytest.approx(1, abs=0.02)
    assert before.max() == pytest.approx(1, abs=0.02)


def test_steps_of_time_make_no_difference():
    fine, coarse = AutoLevels(), AutoLevels()
    for levels in (fine, coarse):
        levels(scene(0, 0.2), 0.0)
    for step in range(1, 31):
        shown = fine(scene(0, 0.8), step / 10)
    assert coarse(scene(0, 0.8), 3.0) == pytest.approx(shown, abs=1e-5)


def test_an_earlier_time_begins_again():
    levels = AutoLevels()
    levels(scene(0, 1), 100.0)
    assert levels(scene(0, 0.25), 0.0).max() == pytest.approx(1, abs=0.03)


@given(st.floats(0, 1), st.floats(0, 1), st.floats(0, 100))
def test_light_stays_light_and_order_stays(one, other, time_s):
    levels = AutoLevels()
    levels(scene(0, 1), 0.0)
    light = scene(min(one, other), max(one, other))
    shown = levels(light, time_s)
    assert shown.dtype == np.float32
    assert 0 <= shown.min() <= shown.max() <= 1
    order = np.argsort(light, axis=None)
    assert (np.diff(shown.ravel()[order]) >= 0).all()
