from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator import PictureError, canvas, load_display, parse_display
from tests.strategies import displays


def wall(part: str):
    text = f"[grid]\ncolumns=2\nrows=2\n[chip]\npart='{part}'\n[wiring]\n"
    return parse_display(text, Path("wall.toml"))


# IEC 61966-2-1: the two branches meet at 0.04045; 128/255 is 0.2158605 linear (worked from the
# standard's formula by hand); the sRGB value of 18 % grey is 0.4613561.
def test_srgb_curve_has_the_values_of_the_standard():
    assert canvas.srgb_to_linear([0, 1]).tolist() == [0, 1]
    assert canvas.srgb_to_linear(128 / 255) == pytest.approx(0.2158605, abs=1e-7)
    assert canvas.linear_to_srgb(0.18) == pytest.approx(0.4613561, abs=1e-6)
    assert canvas.linear_to_srgb(0.0031308) == pytest.approx(0.04045, abs=1e-6)


@given(st.floats(0, 1))
def test_srgb_curve_and_its_inverse_undo_each_other(value):
    assert canvas.srgb_to_linear(canvas.linear_to_srgb(value)) == pytest.approx(value, abs=2e-7)


def test_each_led_gets_its_own_cell_in_wire_order():
    display = wall("WS2812B")  # serpentine: LEDs 2 and 3 sit at (1, 1) and (0, 1); order GRB
    picture = np.zeros((2, 2, 3), np.uint8)
    picture[0, 0] = (255, 0, 0)
    picture[1, 0] = (0, 0, 255)
    (data,) = canvas.to_wire(canvas.to_drives(picture, display), display)
    assert data.tolist() == [0, 255, 0, 0, 0, 0, 0, 0, 0, 0, 0, 255]


def test_a_white_channel_takes_what_the_colours_share():
    picture = np.full((2, 2, 3), (1.0, 0.4, 0.2))
    drives = canvas.to_drives(picture, wall("SK6812-RGBW"))
    assert drives[0].tolist() == [255 - 51, 102 - 51, 0, 51]


def test_a_common_intensity_is_sent_at_its_full():
    assert canvas.to_drives(np.zeros((2, 2, 3)), wall("APA102"))[:, 3].tolist() == [31] * 4


@pytest.mark.parametrize(
    ("picture", "said"),
    [
        (np.zeros((36, 20, 3), np.uint8), "Columns and rows are exchanged"),
        (np.zeros((20, 36), np.uint8), "colour axis is missing"),
        (np.zeros((20, 36, 4), np.uint8), "needs (rows, columns, 3) = (20, 36, 3)"),
        (np.zeros((20, 36, 3), np.int64), "dtype int64"),
        (np.full((20, 36, 3), np.nan), "is nan at (0, 0, 0)"),
        (np.full((20, 36, 3), 200.0), "divide by 255"),
        (np.full((20, 36, 3), "x"), "dtype"),
        ("nonsense", "shape ()"),
    ],
)
def test_pictures_that_do_not_fit_are_told_in_words(picture, said):
    with pytest.raises(PictureError) as caught:
        canvas.to_drives(picture, load_display("foyer"))
    assert said in str(caught.value)


@given(displays(), st.integers(0, 2**32 - 1))
def test_a_stack_gives_what_its_pictures_give_one_by_one(display, seed):
    pictures = np.random.default_rng(seed).integers(0, 256, (3, *display.picture_shape), np.uint8)
    stack = canvas.to_drives(pictures, display)
    wire = canvas.to_wire(stack, display)
    for number, picture in enumerate(pictures):
        drives = canvas.to_drives(picture, display)
        assert (drives == stack[number]).all()
        for line, data in enumerate(canvas.to_wire(drives, display)):
            assert (data == wire[line][number]).all()


# Common practice, no source: 20 mA a channel, 60 mA an LED at full white, 1 mA in the dark. For
# 576 LEDs that is 34.56 A of channels, and 0.576 A in the dark on top.
def test_current_of_a_full_white_wall_is_what_practice_reckons():
    chip = load_display("foyer").chip
    white = np.full((576, 3), 255, np.uint8)
    one_colour = white * np.array([1, 0, 0], np.uint8)
    assert canvas.current_a(white, chip) - 0.576 == pytest.approx(34.56)
    assert canvas.current_a(one_colour, chip) - 0.576 == pytest.approx(34.56 / 3)


@given(displays(), st.floats(0.01, 1.0), st.integers(0, 2**32 - 1))
def test_limited_frames_stay_at_or_under_the_limit_and_others_are_untouched(display, share, seed):
    rng = np.random.default_rng(seed)
    pictures = rng.integers(0, 256, (4, *display.picture_shape), np.uint8)
    drives = canvas.to_drives(pictures, display)
    dark = display.leds * display.chip.dark_ma / 1000
    limit = dark + share * (canvas.current_a(drives, display.chip).max() - dark) + 1e-6
    limited = canvas.limit_current(drives, display.chip, limit)
    asked = canvas.current_a(drives, display.chip)
    assert (canvas.current_a(limited, display.chip) <= limit + 1e-12).all()
    assert (limited[asked <= limit] == drives[asked <= limit]).all()
    assert (canvas.limit_current(drives[0], display.chip, limit) == limited[0]).all()


def test_a_limit_below_the_dark_current_is_refused():
    display = load_display("foyer")
    with pytest.raises(ValueError, match=r"0\.72 A in the dark"):
        canvas.limit_current(np.zeros((716, 3), np.uint8), display.chip, 0.5)
