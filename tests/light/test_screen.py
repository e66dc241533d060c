"""Colours brought to what a screen can show."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from emulator import CHIPS
from emulator.light.primaries import chip_primaries
from emulator.light.screen import into_gamut, screen_from_drive
from emulator.picture.srgb import LUMINANCE

MATRIX = screen_from_drive(chip_primaries(CHIPS["WS2812B"]))
COLOURS = hnp.arrays(np.float32, (7, 3), elements=st.floats(-1, 2, width=32))


def test_full_white_is_the_screen_s_white_and_greys_stay_grey():
    drives = np.linspace(0, 1, 6, dtype=np.float32)[:, None] * np.ones(3, np.float32)
    assert drives @ MATRIX == pytest.approx(drives, abs=1e-5)
    assert into_gamut(drives @ MATRIX) == pytest.approx(drives, abs=1e-5)


@given(hnp.arrays(np.float32, (9, 3), elements=st.floats(0, 1, width=32)))
def test_colours_of_the_screen_come_back_as_they_are(colours):
    assert into_gamut(colours) == pytest.approx(colours, abs=1e-6)


@given(hnp.arrays(np.float32, (9, 3), elements=st.floats(0, 1, width=32)))
def test_every_drive_is_shown_within_the_screen_s_range(drives):
    shown = into_gamut(drives @ MATRIX)
    assert shown.min() >= 0
    assert shown.max() <= 1 + 1e-5


@given(COLOURS)
def test_a_negative_channel_costs_saturation_not_luminance_or_hue(colours):
    grey = colours @ LUMINANCE
    dim = (grey > 0.05) & (colours.min(axis=1) < 0)
    colours = colours[dim] * np.float32(0.2)  # no channel goes above 1
    grey = colours @ LUMINANCE
    shown = into_gamut(colours)
    assert shown @ LUMINANCE == pytest.approx(grey, abs=1e-5)
    # Hue in linear light: the same direction from grey, only shorter.
    was, now = colours - grey[:, None], shown - grey[:, None]
    assert (was * now).sum(axis=1) == pytest.approx(
        np.linalg.norm(was, axis=1) * np.linalg.norm(now, axis=1), abs=1e-5
    )
    assert (np.linalg.norm(now, axis=1) <= np.linalg.norm(was, axis=1) + 1e-6).all()


def test_a_colour_too_bright_for_the_screen_is_dimmed_not_clipped_by_channel():
    # By hand: luminance 0.2126·1.6 + 0.7152·0.4 + 0.0722·0.2 = 0.641 ≤ 1; the largest is 1.6.
    assert into_gamut(np.array([1.6, 0.4, 0.2], np.float32)) == pytest.approx([1, 0.25, 0.125])


def test_the_led_s_green_is_drawn_towards_white_along_equal_luminance():
    green = np.array([0, 1, 0], np.float32) @ MATRIX
    assert green[0] < -0.5, "far outside the screen's gamut"
    red, rest, blue = into_gamut(green)
    assert red == 0
    # By hand: what lifts red to 0 is t = Y/(Y − R); the others follow as Y + t·(c − Y).
    grey = float(green @ LUMINANCE)
    t = grey / (grey - green[0])
    assert rest == pytest.approx(grey + t * (green[1] - grey), abs=1e-6)
    assert blue == pytest.approx(grey + t * (green[2] - grey), abs=1e-6)
