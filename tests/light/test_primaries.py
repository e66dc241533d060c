"""Primaries of every chip of the catalogue."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from emulator import CHIPS
from emulator.canvas import to_drives
from emulator.description.load import parse_display
from emulator.light.observer import D65_XY, chromaticity, colour_temperature
from emulator.light.primaries import Primaries, chip_primaries


@pytest.mark.parametrize("part", CHIPS)
def test_every_chip_can_make_d65_and_says_where_its_light_comes_from(part):
    chip = CHIPS[part]
    primaries = chip_primaries(chip)
    assert primaries.xyz[:3, 1] == pytest.approx(np.array(chip.intensity_mcd) / 1000)
    gains = primaries.gains_for()
    assert gains.min() > 0
    assert gains.max() == 1
    assert chromaticity(primaries.mix(primaries.by_channel(gains))) == pytest.approx(D65_XY)
    wanted = {"wavelength_nm", "width_nm", "intensity_mcd", "half_angle_deg"}
    if "W" in chip.channels:
        wanted |= {"white_mcd", "white_k"}
    assert wanted <= set(chip.sources)


def test_the_ws2812b_gives_1285_millicandela_at_full_white():
    # WS2812B datasheet: middle of 390–420, 660–720 and 180–200 mcd.
    assert chip_primaries(CHIPS["WS2812B"]).intensity_cd == pytest.approx(0.405 + 0.690 + 0.190)


def test_drives_mix_in_proportion():
    primaries = chip_primaries(CHIPS["WS2812B"])
    a, b = np.array([0.2, 0.5, 0.1]), np.array([0.4, 0.1, 0.9])
    assert primaries.mix(a + b) == pytest.approx(primaries.mix(a) + primaries.mix(b))
    assert primaries.mix([1, 1, 1]) == pytest.approx(primaries.white)


@pytest.mark.parametrize("channel", [0, 1, 2])
def test_a_single_channel_has_no_colour_temperature(channel):
    assert colour_temperature(chip_primaries(CHIPS["WS2812B"]).xyz[channel]).kelvin is None


def test_a_colour_out_of_reach_takes_a_negative_gain():
    purple = Primaries(np.array([[0.4, 0.2, 0.02], [0.35, 0.19, 0.05], [0.2, 0.1, 0.9]]))
    assert purple.gains_for().min() < 0


def test_white_beyond_reach_takes_a_negative_gain_with_a_white_channel_too():
    assert chip_primaries(CHIPS["SK6812-RGBW"]).gains_for((0.72, 0.28)).min() < 0


def test_light_is_shared_out_among_the_channels_as_the_canvas_sends_it():
    primaries = chip_primaries(CHIPS["SK6812-RGBW"])
    text = "[grid]\ncolumns=4\nrows=3\n[chip]\npart='SK6812-RGBW'\n[wiring]\npath='progressive'\n"
    display = parse_display(text, Path("w.toml"))
    drives = np.random.default_rng(2).integers(0, 256, (3, 4, 3)) / 255
    sent = to_drives(drives.astype(np.float32), display) / 255
    assert primaries.by_channel(drives).reshape(12, 4) == pytest.approx(sent)
    # By hand: red 0.9, green 0.5, blue 0.2 have 0.2 in common.
    assert primaries.by_channel(np.array([0.9, 0.5, 0.2])) == pytest.approx([0.7, 0.3, 0, 0.2])
    four = np.array([0.1, 0.2, 0.3, 0.4])
    assert primaries.by_channel(four) is four


def test_full_white_of_a_chip_with_a_white_channel_is_that_channel():
    chip = CHIPS["SK6812-RGBW"]
    primaries = chip_primaries(chip)
    assert primaries.intensity_cd == pytest.approx(chip.white_mcd / 1000)
    assert primaries.white_temperature.kelvin == pytest.approx(chip.white_k, rel=1e-3)
    # All four at once: W and the light of R, G and B.
    every = primaries.mix([1, 1, 1, 1])[1]
    assert every == pytest.approx(1.9 + 0.405 + 0.690 + 0.190)


@pytest.mark.parametrize("part", ["WS2812B", "SK6812-RGBW"])
def test_the_gains_in_the_display_file_make_a_white_picture_d65(part):
    primaries = chip_primaries(CHIPS[part])
    gains = primaries.gains_for().round(3).tolist()
    text = f"[grid]\ncolumns=1\nrows=1\n[chip]\npart='{part}'\n[wiring]\n[canvas]\nwhite={gains}\n"
    sent = to_drives(np.full((1, 1, 3), 255, np.uint8), parse_display(text, Path("w.toml")))[0]
    # Rounded to 8 bits; D65 as IEC 61966-2-1 gives it.
    assert chromaticity(primaries.mix(sent / 255)) == pytest.approx((0.3127, 0.3290), abs=2e-3)
