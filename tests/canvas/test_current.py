"""What frames ask for, and frames cut down to a limit."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator import canvas, load_display
from tests.strategies import displays


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
