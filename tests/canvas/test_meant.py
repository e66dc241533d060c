"""The light a picture means is what the emulated wall then shows, to its rounding."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator import Bench, canvas, load_display
from tests.canvas.walls import wall
from tests.strategies import displays, half_step


@st.composite
def settings_of_canvas(draw: Any) -> dict[str, Any]:
    """Values of [canvas] that leave at least 25 levels a channel."""
    return {
        "curve": draw(st.sampled_from(["sRGB", "L*", 1.0, 2.2, 3.0])),
        "white": draw(st.lists(st.floats(0.4, 1), min_size=3, max_size=3)),
        "brightness": draw(st.floats(0.25, 1)),
        "dither": draw(st.booleans()),
    }


@given(displays(), settings_of_canvas(), st.integers(0, 2**32 - 1), st.booleans())
def test_a_bench_shows_what_is_meant(display, chosen, seed, floats):
    display = dataclasses.replace(display, canvas=display.canvas.model_copy(update=chosen))
    chance = np.random.default_rng(seed)
    picture = chance.integers(0, 256, display.picture_shape, np.uint8)
    bench = Bench(display)
    bench.send(picture / np.float32(255) if floats else picture)
    meant = canvas.meant_light(picture / np.float32(255) if floats else picture, display)
    step = half_step(display) + 0.5 * display.canvas.dither
    assert np.abs(bench.picture - meant).max() <= step / 255 + 1e-6


def test_gaps_mean_darkness():
    foyer = load_display("foyer")
    meant = canvas.meant_light(np.full((2, *foyer.picture_shape), 255, np.uint8), foyer)
    assert (meant[:, foyer.gap] == 0).all()
    assert (meant[:, ~foyer.gap] == 1).all()


def test_full_light_is_white_balance_times_brightness():
    display = wall("white = [1, 0.8, 0.5]\nbrightness = 0.5")
    assert canvas.full_light(display) == pytest.approx([0.5, 0.4, 0.25])
    assert canvas.meant_light(np.ones((2, 2, 3)), display)[0, 0] == pytest.approx([0.5, 0.4, 0.25])
