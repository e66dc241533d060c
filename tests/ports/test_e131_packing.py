"""The places of each LED's bytes in the universes."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator import load_display
from emulator.errors import ForeglowError, OutOfRangeError, UnknownNameError
from emulator.ports.e131.packing import Packing


def test_170_leds_of_three_bytes_fill_a_universe():
    """Common practice, no source: 170 RGB LEDs (510 slots) a universe."""
    packing = Packing(341, "RGB", "RGB", first_universe=9)
    assert packing.leds_each == 170
    assert packing.slots == (510, 510, 3)
    assert packing.universe[[0, 169, 170, 340], 0].tolist() == [9, 9, 10, 11]
    assert packing.slot[[0, 1, 169, 170]].tolist() == [
        [1, 2, 3],
        [4, 5, 6],
        [508, 509, 510],
        [1, 2, 3],
    ]


def test_128_leds_of_four_bytes_fill_a_universe():
    """Common practice, no source: 128 RGBW LEDs (512 slots) a universe."""
    packing = Packing(129, "RGBW", "RGBW")
    assert packing.slots == (512, 4)
    assert packing.slot[127].tolist() == [509, 510, 511, 512]


def test_continuous_leds_straddle_universes():
    packing = Packing(171, "RGB", "RGB", style="continuous")
    assert packing.slots == (512, 1)
    assert packing.universe[170].tolist() == [1, 1, 2]
    assert packing.slot[170].tolist() == [511, 512, 1]


def test_the_order_says_which_channel_lies_first():
    levels = Packing(2, "RGB", "GRB").pack(np.array([[1, 2, 3], [4, 5, 6]], dtype=np.uint8))
    assert levels[0, :7].tolist() == [2, 1, 3, 5, 4, 6, 0]


def test_an_intensity_left_out_is_folded_in_and_comes_back_full():
    packing = Packing(2, "RGBI", "RGB")
    drives = np.array([[255, 100, 0, 31], [200, 100, 0, 15]], dtype=np.uint8)
    levels = packing.pack(drives)
    # 200 · 15/31 = 96.8 and 100 · 15/31 = 48.4, by hand.
    assert levels[0, :6].tolist() == [255, 100, 0, 97, 48, 0]
    assert packing.unpack(levels).tolist() == [[255, 100, 0, 31], [97, 48, 0, 31]]


def test_an_intensity_above_its_five_bits_is_cut():
    packing = Packing(1, "RGBI", "RGBI")
    levels = np.full((1, 512), 255, dtype=np.uint8)
    assert packing.unpack(levels).tolist() == [[255, 255, 255, 31]]


@given(
    st.integers(1, 700),
    st.sampled_from([("RGB", "RGB"), ("RGB", "BGR"), ("RGBW", "WGRB"), ("RGBI", "IBGR")]),
    st.sampled_from(["whole", "continuous"]),
    st.integers(1, 60000),
    st.integers(0, 2**32),
)
def test_unpacking_gives_back_what_was_packed(leds, channels_order, style, first, seed):
    channels, order = channels_order
    packing = Packing(leds, channels, order, first, style)
    drives = np.random.default_rng(seed).integers(0, 32, (3, leds, len(packing.order)), np.uint8)
    levels = packing.pack(drives)
    assert levels.shape == (3, packing.universes, 512)
    assert np.array_equal(packing.unpack(levels), drives)
    assert np.array_equal(packing.pack(drives[1]), levels[1])
    # No two bytes share a slot, and each lies where `universe` and `slot` say.
    places = np.stack([packing.universe, packing.slot], axis=-1).reshape(-1, 2)
    assert len(np.unique(places, axis=0)) == leds * len(packing.order)
    column = packing.channels.index(packing.order[1])
    there = levels[2, packing.universe[:, 1] - first, packing.slot[:, 1] - 1]
    assert np.array_equal(there, drives[2, :, column])
    assert sum(packing.slots) == leds * len(packing.order)


def test_the_demo_displays_take_these_universes():
    """716 RGB LEDs: 4 · 170 + 36; 384 RGBW: 3 · 128; 128 with an intensity: 1 · 128."""
    assert Packing.of(load_display("foyer")).slots == (510, 510, 510, 510, 36 * 3)
    assert Packing.of(load_display("banner")).slots == (512, 512, 512)
    assert Packing.of(load_display("sign")).slots == (512,)


@pytest.mark.parametrize(
    ("arguments", "error"),
    [
        ({"order": "RGBW"}, OutOfRangeError),
        ({"order": "RG"}, OutOfRangeError),
        ({"first_universe": 0}, OutOfRangeError),
        ({"first_universe": 63999}, OutOfRangeError),
        ({"style": "loose"}, UnknownNameError),
    ],
)
def test_what_cannot_be_packed_is_an_error(arguments, error):
    with pytest.raises(error, match="Fix") as caught:
        Packing(171, "RGB", **({"order": "RGB"} | arguments))
    assert isinstance(caught.value, ForeglowError)
