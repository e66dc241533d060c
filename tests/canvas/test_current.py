"""The current that frames ask for, and frames reduced to a limit."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from emulator import CHIPS, canvas, load_display
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
    with pytest.raises(ValueError, match=r"the dark LEDs take 0\.72 A"):
        canvas.limit_current(np.zeros((716, 3), np.uint8), display.chip, 0.5)


@given(
    st.sampled_from(sorted(CHIPS)), st.integers(1, 60), st.integers(0, 999),
    st.floats(0.1, 1), st.sampled_from([1, 3, 16, 255]), st.booleans(),
)  # fmt: skip
@example("WS2812B", 1, 0, 0.1, 255, True)
@example("SK6812-RGBW", 1, 0, 0.1, 255, True)
@settings(max_examples=300)
def test_at_least_97_percent_of_the_allowed_light_current_is_used(
    part, leds, seed, share, most, plain
):
    """The allowed light current is by hand: the limit less 1 mA (0.6 mA) an LED in the dark."""
    chip = CHIPS[part]
    rng = np.random.default_rng(seed)
    channels = len(chip.channels)
    drives = rng.integers(0, most + 1, (2, 1 if plain else leds, channels)).astype(np.uint8)
    drives = np.repeat(drives, leds, axis=1) if plain else drives
    full = np.full((1, leds, channels), 255, np.uint8)
    if "I" in chip.channels:
        drives[..., 3] = np.minimum(drives[..., 3], 31)
        full[..., 3] = 31
    dark = leds * chip.dark_ma / 1000
    limit = dark + share * (canvas.current_a(full, chip)[0] - dark)
    limited = canvas.limit_current(drives, chip, limit)
    used, asked = canvas.current_a(limited, chip), canvas.current_a(drives, chip)
    assert (used <= limit).all()
    assert (used - dark >= 0.97 * (np.minimum(limit, asked) - dark)).all()
    assert (limited <= drives).all()


@pytest.mark.parametrize("level", [(9, 6, 3), (200, 20, 2), (255, 0, 1), (7, 7, 7)])
@pytest.mark.parametrize("share", [0.1, 0.35, 0.8])
def test_no_colour_shifts_under_the_limit(level, share):
    """A scaled sum a channel, to a drive step in a hundred LEDs: red stays red, grey grey."""
    chip, leds = CHIPS["WS2812B"], 600
    drives = np.tile(np.array(level, np.uint8), (leds, 1))
    dark = leds * chip.dark_ma / 1000
    lit = canvas.current_a(drives, chip) - dark
    limited = canvas.limit_current(drives, chip, dark + share * float(lit))
    sums = limited.sum(axis=0, dtype=np.int64)
    assert sums == pytest.approx(share * np.array(level) * leds, abs=leds / 100)
    assert (limited <= np.ceil(share * np.array(level))).all()
    if len(set(level)) == 1:
        assert (np.ptp(limited, axis=1) <= 1).all()
        assert (np.ptp(limited, axis=1) > 0).sum() <= 1  # where the last step of current went
    parts = limited[: leds // 10 * 10].reshape(10, -1, 3).sum(axis=1, dtype=np.int64)
    assert (np.ptp(parts, axis=0) <= 4).all()  # even along the strip, too


def test_a_wall_of_any_size_uses_its_limit():
    """Above some ten thousand LEDs the drives that are rounded up are found in another way."""
    chip = CHIPS["WS2812B"]
    drives = np.random.default_rng(1).integers(0, 256, (2, 12_000, 3), np.uint8)
    dark = 12_000 * chip.dark_ma / 1000
    for share in (0.1, 0.5, 0.99):
        limit = dark + share * (float(canvas.current_a(drives, chip).min()) - dark)
        used = canvas.current_a(canvas.limit_current(drives, chip, limit), chip)
        assert (used <= limit).all()
        assert used - limit == pytest.approx(0, abs=chip.channel_ma / 1000 * 3 / 255)
