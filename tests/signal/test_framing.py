"""Bytes of a frame: plain chips, and the start and end frame of APA102."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from emulator.description.chips import CHIPS, Chip
from emulator.errors import FrameError
from emulator.signal.framing import (
    eight_bits,
    frame_bytes,
    has_seven_bits,
    in_order,
    led_bytes,
    nearest_of_seven_bits,
    seven_bits,
)

APA102 = CHIPS["APA102"]
LPD8806 = CHIPS["LPD8806"]


def test_apa102_frame_worked_by_hand() -> None:
    # APA102 datasheet: 32 zero bits, 111 + 5 bits, B, G, R; then an end frame.
    leds = np.array([[31, 1, 2, 3], [0, 255, 0, 255]], dtype=np.uint8)
    expected = "00000000ff010203e0ff00ff00000000"
    assert frame_bytes(leds, APA102).tobytes().hex() == expected


def test_channels_in_another_order_are_plain_bytes() -> None:
    leds = np.arange(24, dtype=np.uint8).reshape(2, 4, 3)
    ordered = in_order(leds, np.array([1, 0, 2]))
    assert ordered.tolist() == leds[..., [1, 0, 2]].tolist()
    assert (ordered.dtype, ordered.flags.c_contiguous) == (np.uint8, True)


@pytest.mark.parametrize(("leds", "end"), [(0, 4), (1, 4), (64, 4), (65, 5), (300, 19)])
def test_end_frame_has_half_a_clock_edge_an_led(leds: int, end: int) -> None:
    # APA102 datasheet: at least n/2 clock edges, so n/16 bytes.
    data = frame_bytes(np.zeros((leds, 4), dtype=np.uint8), APA102)
    assert data.size == 4 + 4 * leds + end
    assert 8 * end >= leds / 2


@pytest.mark.parametrize("chip", CHIPS.values(), ids=lambda chip: chip.part)
@given(data=st.data())
def test_frames_hold_the_leds_they_were_made_of(chip: Chip, data: st.DataObject) -> None:
    count = data.draw(st.integers(0, 80))
    leds = data.draw(arrays(np.uint8, (count, chip.bytes_per_led)))
    if chip.order[0] == "I":
        leds[:, 0] &= 31
    elif has_seven_bits(chip):
        leds = eight_bits(leds)  # the drives that it can show
    framed = frame_bytes(leds, chip)
    assert np.array_equal(led_bytes(framed, chip), leds)
    other = leds[::-1]
    both = np.stack([framed, frame_bytes(other, chip)])
    assert np.array_equal(frame_bytes(np.stack([leds, other]), chip), both)


def test_a_partial_led_is_left_out() -> None:
    data = np.arange(1, 9, dtype=np.uint8)
    assert led_bytes(data, CHIPS["WS2812B"]).tolist() == [[1, 2, 3], [4, 5, 6]]
    framed = np.array([0, 0, 0, 0, 0xE5, 1, 2, 3, 0xE5, 1], dtype=np.uint8)
    assert led_bytes(framed, APA102).tolist() == [[5, 1, 2, 3]]


def test_without_a_start_frame_the_first_byte_begins_an_led() -> None:
    data = np.array([0xE1, 9, 8, 7, 0xE2, 6, 5, 4], dtype=np.uint8)
    assert led_bytes(data, APA102).tolist() == [[1, 9, 8, 7], [2, 6, 5, 4]]


def test_an_end_frame_of_ones_reads_as_an_led_at_full() -> None:
    data = np.array([0] * 4 + [0xE1, 9, 9, 9] + [255] * 4, dtype=np.uint8)
    assert led_bytes(data, APA102).tolist() == [[1, 9, 9, 9], [31, 255, 255, 255]]


def test_what_cannot_be_sent_is_refused() -> None:
    with pytest.raises(FrameError, match=r"32 for LED 1[\s\S]*\n  Fix: give 0 to 31\.$"):
        frame_bytes(np.array([[1, 0, 0, 0], [32, 0, 0, 0]], dtype=np.uint8), APA102)
    with pytest.raises(FrameError, match=r"\(2, 4\)[\s\S]*Fix"):
        frame_bytes(np.zeros((2, 4), dtype=np.uint8), CHIPS["WS2812B"])
    with pytest.raises(FrameError, match="float64"):
        frame_bytes(np.zeros((2, 3)), CHIPS["WS2812B"])


def test_lpd8806_frame_worked_by_hand() -> None:
    # LPD8806 datasheet, from memory: 7 bits below a high bit; a zero byte latches 32 LEDs.
    leds = np.array([[0, 255, 128], [2, 127, 129]], dtype=np.uint8)
    assert frame_bytes(leds, LPD8806).tobytes().hex() == "80ffbf81bfc000"
    for count, zeros in ((0, 0), (1, 1), (32, 1), (33, 2), (576, 18)):
        assert frame_bytes(np.zeros((count, 3), np.uint8), LPD8806).size == 3 * count + zeros


def test_seven_bits_show_the_level_next_below() -> None:
    drives = np.arange(256, dtype=np.uint8)
    shown = eight_bits(seven_bits(drives)).astype(int)
    assert set((drives - shown).tolist()) == {0, 1, 2}
    assert np.flatnonzero(drives - shown == 2).tolist() == [128]  # between 126 and 129
    assert (shown[0], shown[255]) == (0, 255)
    nearest = nearest_of_seven_bits(drives).astype(int)
    assert np.abs(nearest - drives).max() == 1
    assert set(nearest.tolist()) == set(shown.tolist())
    # Each level is 1/127 of full, to the nearest of 255 steps.
    assert np.array_equal(np.unique(shown), np.round(np.arange(128) * 255 / 127 + 1e-9))


def test_zero_bytes_ahead_are_passed_over_and_those_behind_end_the_leds() -> None:
    data = np.array([0, 0, 0x81, 0x82, 0x83, 0xFF, 0, 0x84, 0x85, 0x86], dtype=np.uint8)
    assert led_bytes(data, LPD8806).tolist() == [[2, 4, 6]]
