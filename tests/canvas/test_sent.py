"""What a bench latches of pictures sent one after the other: all steps of the canvas together."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator import Bench
from emulator.bench import led_light
from emulator.canvas import current_a, full_light
from emulator.picture.srgb import srgb_to_linear
from tests.canvas.walls import wall

CHIPS = ("WS2812B-V5", "SK6812-RGBW", "APA102")
SETTINGS = ("", "dither = true", "dither = true\nwhite = [0.79, 1.0, 0.35]\nbrightness = 0.6")


@given(
    st.sampled_from(CHIPS),
    st.sampled_from(SETTINGS),
    st.sampled_from([(1, 1), (30, 1), (5, 3)]),
    st.floats(0.01, 1),
    st.integers(0, 99),
)
def test_no_frame_takes_more_than_the_limit(part, section, size, share, seed):
    free = wall(section, part, size)
    dark_a = free.leds * free.chip.dark_ma / 1000
    limit_a = round(dark_a + share * free.leds * 0.06 + 0.001, 4)
    display = wall(f"{section}\n[power]\nlimit_a = {limit_a}", part, size)
    bench, chance = Bench(display), np.random.default_rng(seed)
    for number in range(12):
        light = chance.random(display.picture_shape, np.float32)
        bench.send(np.round(255 * light).astype(np.uint8) if number % 3 else light)
        bench.send(np.ones(display.picture_shape))
    assert current_a(bench.frames, display.chip).max() <= limit_a


@pytest.mark.parametrize("part", CHIPS)
@pytest.mark.parametrize("section", SETTINGS[1:])
@pytest.mark.parametrize("before", [0, 5])
def test_sixteen_frames_of_any_code_value_mean_what_it_means(part, section, before):
    """Within the 1/16 of a drive that the issue asks for, whenever they begin."""
    display = wall(section, part, (16, 16))
    picture = np.arange(256, dtype=np.uint8).reshape(16, 16, 1).repeat(3, axis=2)
    bench = Bench(display)
    for _ in range(before + 16):
        bench.send(picture)
    shown = 255 * led_light(bench.frames[-16:], display.chip.channels).mean(axis=0)
    meant = 255 * srgb_to_linear(picture.reshape(-1, 3)[display.wiring.cell] / 255)
    assert np.abs(shown - meant * full_light(display)).max() < 1 / 16
