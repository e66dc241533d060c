"""The steps from a picture to drives, in their order."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator import canvas
from tests.canvas.walls import wall
from tests.strategies import displays

SHAPE = (2, 2, 3)
OLD_LAMPS = "curve = 2.2\nwhite = [1.0, 0.8, 0.5]\nbrightness = 0.5"


def test_each_led_gets_its_own_cell_in_wire_order():
    display = wall()  # serpentine: LEDs 2 and 3 sit at (1, 1) and (0, 1); order GRB
    picture = np.zeros(SHAPE, np.uint8)
    picture[0, 0] = (255, 0, 0)
    picture[1, 0] = (0, 0, 255)
    (data,) = canvas.to_wire(canvas.to_drives(picture, display), display)
    assert data.tolist() == [0, 255, 0, 0, 0, 0, 0, 0, 0, 0, 0, 255]


def test_a_white_channel_takes_what_the_colours_share():
    picture = np.full(SHAPE, (1.0, 0.4, 0.2))
    drives = canvas.to_drives(picture, wall(part="SK6812-RGBW"))
    assert drives[0].tolist() == [255 - 51, 102 - 51, 0, 51]


def test_a_common_intensity_is_sent_at_its_full():
    assert canvas.to_drives(np.zeros(SHAPE), wall(part="APA102"))[:, 3].tolist() == [31] * 4


# IEC 61966-2-1, worked by hand: 128 means 0.2158605 of full light, 255 · 0.2158605 = 55.04.
def test_without_settings_a_drive_is_the_light_that_srgb_means():
    assert canvas.to_drives(np.full(SHAPE, 128, np.uint8), wall())[0].tolist() == [55] * 3


# By hand: 128/255 to the power of 2.2 is 0.21952; times 255 · 0.5 · (1, 0.8, 0.5).
# Gains on the value instead of the light would give (12, 7, 2.6).
def test_white_and_brightness_are_shares_of_light_so_they_come_after_the_curve():
    drives = canvas.to_drives(np.full(SHAPE, 128, np.uint8), wall(OLD_LAMPS))
    assert drives[0].tolist() == [28, 22, 14]


def test_a_float_picture_is_light_already_and_takes_no_curve():
    drives = canvas.to_drives(np.full(SHAPE, 0.5), wall(OLD_LAMPS))
    assert drives[0].tolist() == [64, 51, 32]


# Full white with white = (1, 0.8, 0.5) is light (255, 204, 127.5): white takes 128 of each.
def test_the_white_channel_takes_its_share_of_the_balanced_colours():
    display = wall("white = [1.0, 0.8, 0.5]", part="SK6812-RGBW")
    drives = canvas.to_drives(np.full(SHAPE, 255, np.uint8), display)
    assert drives[0].tolist() == [127, 76, 0, 128]


# 10.4 and 5.6 of 255: split before the rounding, 6 of white and 5 of red would give 11 in red.
def test_light_of_white_and_colours_together_is_rounded_once():
    drives = canvas.to_drives(np.full(SHAPE, np.array([10.4, 5.6, 5.6]) / 255),
                              wall(part="SK6812-RGBW"))  # fmt: skip
    assert drives[0, 0] + drives[0, 3] == 10
    assert drives[0, 1] + drives[0, 3] == 6


def test_brightness_comes_before_dithering_so_that_dimmed_levels_stay_smooth():
    values = np.arange(12, dtype=np.uint8).repeat(3).reshape(1, 12, 3) + np.uint8(20)
    picture = np.repeat(values[None], 16, axis=0)
    smooth = canvas.to_drives(picture, wall("brightness = 0.1\ndither = true", size=(12, 1)))
    light = smooth.mean(axis=0)[:, 0]
    # IEC 61966-2-1: 20 … 31 of 255 lie at 0.0070 … 0.0137, a tenth of it at 0.18 … 0.35 of a step.
    wanted = 25.5 * (((np.arange(20, 32) / 255) + 0.055) / 1.055) ** 2.4
    assert light == pytest.approx(wanted, abs=1 / 32)
    assert len(set(light.tolist())) >= 3


@given(displays(), st.integers(0, 2**32 - 1), st.booleans(), st.integers(0, 40))
def test_a_stack_gives_what_its_pictures_give_one_by_one(display, seed, dithers, first):
    settings = display.canvas.model_copy(update={"dither": dithers, "white": [1.0, 0.9, 0.6]})
    display = dataclasses.replace(display, canvas=settings)
    pictures = np.random.default_rng(seed).integers(0, 256, (3, *display.picture_shape), np.uint8)
    stack = canvas.to_drives(pictures, display, first)
    wire = canvas.to_wire(stack, display)
    for number, picture in enumerate(pictures):
        drives = canvas.to_drives(picture, display, first + number)
        assert (drives == stack[number]).all()
        for line, data in enumerate(canvas.to_wire(drives, display)):
            assert (data == wire[line][number]).all()


@given(
    st.sampled_from(["sRGB", "L*", 1.0, 1.8, 2.2, 4.0]),
    st.lists(st.floats(0.1, 1), min_size=3, max_size=3),
    st.floats(0.2, 1),
)
def test_the_table_for_code_values_gives_what_the_steps_give(curve, white, brightness):
    display = wall(size=(16, 16))
    settings = {"curve": curve, "white": white, "brightness": brightness}
    display = dataclasses.replace(display, canvas=display.canvas.model_copy(update=settings))
    values = np.arange(256, dtype=np.uint8).reshape(16, 16, 1).repeat(3, axis=2)
    drives = canvas.to_drives(values, display)
    meant = canvas.meant_light(values, display).reshape(256, 3)[display.wiring.cell]
    assert np.abs(drives - 255.0 * meant).max() <= 0.5 + 1e-4
