from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator import CHIPS, canvas
from emulator.power.load import Loads, duty, headroom

parts = st.sampled_from(sorted(CHIPS))


def frames(part: str, seed: int, frames: int = 2, leds: int = 3) -> np.ndarray:
    chip = CHIPS[part]
    drives = np.random.default_rng(seed).integers(0, 256, (frames, leds, len(chip.channels)))
    if "I" in chip.channels:
        drives[..., 3] %= 32
    return drives.astype(np.uint8)


# Common practice, no source: 20 mA a channel, 60 mA an LED at full white; 576 LEDs ask 34.56 A,
# more than a supply of 30 A gives, and one colour a third of it.
def test_576_leds_at_full_white_ask_34_56_amperes():
    chip = CHIPS["WS2812B"]
    white = np.full((1, 576, 3), 255, np.uint8)
    volts = np.full((576, 1), 5.0)
    total = Loads.of(white, chip).current_a(volts).sum() - 576 * chip.dark_ma / 1000
    assert total == pytest.approx(34.56)
    assert total > 30
    for channel in range(3):
        one = np.zeros_like(white)
        one[..., channel] = 255
        only = Loads.of(one, chip).current_a(volts).sum() - 576 * chip.dark_ma / 1000
        assert only == pytest.approx(34.56 / 3)


@given(parts, st.integers(0, 999))
def test_with_headroom_the_current_is_the_canvas_estimate(part, seed):
    chip, drives = CHIPS[part], frames(part, seed)
    volts = np.full((3, 2), chip.volts)
    here = Loads.of(drives, chip).current_a(volts).sum(axis=0)
    assert here == pytest.approx(canvas.current_a(drives, chip), rel=1e-12)


@given(parts, st.integers(0, 999), st.floats(0, 13), st.floats(0, 2))
def test_current_never_falls_as_the_voltage_rises(part, seed, volts, more):
    loads = Loads.of(frames(part, seed), CHIPS[part])
    low = loads.current_a(np.full((3, 2), volts))
    high = loads.current_a(np.full((3, 2), volts + more))
    assert (high >= low - 1e-15).all()
    assert (loads.slope_s(np.full((3, 2), volts)) >= 0).all()


@given(parts, st.integers(0, 999), st.floats(0, 13))
def test_the_slope_is_the_derivative(part, seed, volts):
    loads = Loads.of(frames(part, seed), CHIPS[part])
    h = 1e-6
    up, down = (loads.current_a(np.full((3, 2), volts + d)) for d in (h, -h))
    slope = loads.slope_s(np.full((3, 2), volts))
    assert (up - down) / (2 * h) == pytest.approx(slope, abs=1e-5)


def test_a_channel_holds_its_current_to_vf_plus_dropout_and_is_out_at_vf():
    chip = dataclasses.replace(CHIPS["WS2812B"], forward_v=(2.0, 3.0, 3.1, 3.1), dropout_v=0.5)
    shares = headroom(np.array([5.0, 3.6, 3.5, 3.25, 3.0, 2.5, 2.25, 2.0, 0.0]), chip)
    assert shares[:, 0].tolist() == [1, 1, 1, 1, 1, 1, 0.5, 0, 0]  # red is the last to dim
    assert shares[:, 1].tolist() == [1, 1, 1, 0.5, 0, 0, 0, 0, 0]
    assert shares[1:4, 2] == pytest.approx([1, 0.896, 0.216])  # x²(3 − 2x) at 0.8 and 0.3


def test_a_starved_led_reddens_and_a_dead_one_takes_nothing():
    chip = CHIPS["WS2812B"]
    red, green, blue = headroom(np.array(3.3), chip)
    assert red == 1
    assert 0 < green == blue < 0.2
    white = np.full((1, 1, 3), 255, np.uint8)
    assert Loads.of(white, chip).current_a(np.zeros((1, 1))) == 0


def test_a_common_intensity_scales_the_duty():
    drives = np.array([[255, 51, 0, 31], [255, 51, 0, 0]], np.uint8)
    assert duty(drives, CHIPS["APA102"]) == pytest.approx(np.array([[1, 0.2, 0], [0, 0, 0]]))
