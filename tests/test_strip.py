from __future__ import annotations

import numpy as np

from emulator import chip
from emulator.strip import Strip

WS2812B = chip("WS2812B")  # 1.25 µs a bit, so 30 µs an LED; reset 50 µs (datasheet)


def numbered(leds: int, first: int = 1) -> np.ndarray:
    return np.arange(first, first + 3 * leds, dtype=np.uint8)


def test_leds_show_a_frame_when_the_reset_has_passed_and_not_before():
    strip = Strip(WS2812B, 2)
    arrival = strip.receive(numbered(2), 1000)
    assert (arrival.ends_ns, arrival.latches_ns) == (1000 + 60_000, 1000 + 60_000 + 50_000)
    assert strip.drives_at(110_999).tolist() == [[0, 0, 0], [0, 0, 0]]
    assert strip.drives_at(111_000).tolist() == [[2, 1, 3], [5, 4, 6]]  # GRB on the wire


def test_what_is_left_after_the_last_led_falls_off_the_end():
    arrival = Strip(WS2812B, 2).receive(numbered(3), 0)
    assert (arrival.bytes_over, arrival.leds_short) == (3, 0)


def test_leds_that_get_nothing_or_a_part_keep_what_they_had():
    strip = Strip(WS2812B, 3)
    strip.receive(numbered(3), 0)
    arrival = strip.receive(np.array([90, 91, 92, 93, 94], np.uint8), 1_000_000)
    assert arrival.leds_short == 2
    assert strip.drives_at(2_000_000).tolist() == [[91, 90, 92], [5, 4, 6], [8, 7, 9]]


def test_a_frame_sent_too_early_goes_to_the_leds_further_down():
    strip = Strip(WS2812B, 3)
    first = strip.receive(numbered(1), 0)
    second = strip.receive(numbered(1, 50), first.ends_ns + 49_999)
    assert second.early
    assert strip.drives_at(10_000_000).tolist() == [[2, 1, 3], [51, 50, 52], [0, 0, 0]]


def test_a_frame_sent_when_the_reset_has_passed_starts_at_led_0_again():
    strip = Strip(WS2812B, 3)
    first = strip.receive(numbered(1), 0)
    second = strip.receive(numbered(1, 50), first.ends_ns + 50_000)
    assert not second.early
    assert strip.drives_at(10_000_000)[:2].tolist() == [[51, 50, 52], [0, 0, 0]]


def test_an_early_frame_can_finish_the_led_the_first_left_in_the_middle():
    strip = Strip(WS2812B, 2)
    first = strip.receive(np.array([1, 2], np.uint8), 0)
    strip.receive(np.array([3, 4, 5, 6, 7], np.uint8), first.ends_ns + 10)
    assert strip.drives_at(10_000_000).tolist() == [[2, 1, 3], [5, 4, 6]]


def test_bytes_over_counts_only_what_this_frame_lost():
    strip = Strip(WS2812B, 1)
    first = strip.receive(numbered(2), 0)
    second = strip.receive(numbered(1), first.ends_ns + 10)
    assert (first.bytes_over, second.bytes_over) == (3, 3)


# APA102 datasheet: each chip hands its data on half a clock later, hence an end frame of at
# least n/2 clock edges.
def test_clocked_leds_at_the_end_miss_their_data_without_an_end_frame():
    apa = chip("APA102")
    leds = np.full((100, 4), (31, 1, 2, 3), np.uint8)
    whole = np.concatenate([np.zeros(4, np.uint8), (leds | np.uint8([224, 0, 0, 0])).ravel()])
    strip = Strip(apa, 100)
    assert strip.receive(whole, 0).leds_short > 0
    assert strip.receive(np.append(whole, np.zeros(7, np.uint8)), 10**9).leds_short == 0


def test_an_end_frame_of_ones_is_not_counted_as_lost_bytes():
    frame = [0, 0, 0, 0, 255, 1, 2, 3, 255, 255, 255, 255]
    arrival = Strip(chip("APA102"), 1).receive(np.array(frame, np.uint8), 0)
    assert (arrival.bytes_over, arrival.leds_short) == (0, 0)


# WS2801 datasheet: the chips latch when the clock has rested low for 500 µs.
def test_a_chip_that_latches_on_rest_waits_for_it():
    strip = Strip(chip("WS2801"), 1, clock_hz=1e6)
    arrival = strip.receive(numbered(1), 0)
    assert (arrival.ends_ns, arrival.latches_ns) == (24_000, 524_000)
    assert strip.receive(numbered(1), 523_999).early
