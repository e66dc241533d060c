"""Primaries of every chip of the catalogue."""

from __future__ import annotations

import numpy as np
import pytest

from emulator import CHIPS
from emulator.light.observer import colour_temperature_k
from emulator.light.primaries import Primaries, chip_primaries


@pytest.mark.parametrize("part", CHIPS)
def test_every_chip_can_make_d65_and_says_where_its_light_comes_from(part):
    chip = CHIPS[part]
    primaries = chip_primaries(chip)
    assert primaries.xyz[:, 1] == pytest.approx(np.array(chip.intensity_mcd) / 1000)
    assert primaries.gains_for().min() > 0
    wanted = {"wavelength_nm", "width_nm", "intensity_mcd", "half_angle_deg"}
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
    assert colour_temperature_k(chip_primaries(CHIPS["WS2812B"]).xyz[channel]) is None


def test_a_colour_out_of_reach_takes_a_negative_gain():
    purple = Primaries(np.array([[0.4, 0.2, 0.02], [0.35, 0.19, 0.05], [0.2, 0.1, 0.9]]))
    assert purple.gains_for().min() < 0
