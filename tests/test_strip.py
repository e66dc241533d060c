from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator import CHIPS, chip
from emulator.description.chips import Span
from emulator.signal import clocked
from emulator.signal.framing import frame_bytes
from emulator.strip import Arrival, Sent, Strip, sent_of

# Datasheet: 1.25 µs a bit, so 30 µs an LED; reset 50 µs; each chip passes on after 300 ns at most.
WS2812B = chip("WS2812B")


def numbered(leds: int, first: int = 1) -> np.ndarray:
    return np.arange(first, first + 3 * leds, dtype=np.uint8)


def test_leds_show_a_frame_when_the_reset_has_passed_and_not_before():
    strip = Strip(WS2812B, 2)
    arrival = strip.receive(numbered(2), 1000)
    assert (arrival.ends_ns, arrival.ready_ns) == (1000 + 60_000, 1000 + 60_000 + 50_000)
    assert arrival.latches_ns == 111_000 + 300
    assert strip.drives_at(110_999).tolist() == [[0, 0, 0], [0, 0, 0]]
    assert strip.drives_at(111_000).tolist() == [[2, 1, 3], [0, 0, 0]]  # GRB on the wire
    assert strip.drives_at(111_299).tolist() == [[2, 1, 3], [0, 0, 0]]
    assert strip.drives_at(111_300).tolist() == [[2, 1, 3], [5, 4, 6]]


def led_by_led(leds, bursts):
    """When each LED latches what, [(ns, bytes)] an LED: the datasheet's cascade, chip by chip.

    A chip keeps the first 24 bits after a reset and passes what follows on, 300 ns later.
    """
    latches, seen = [], bursts
    for _ in range(leds):
        held, end_ns, passed, mine = b"", -(10**9), [], []
        for start_ns, data in seen:
            if start_ns - end_ns >= 50_000:
                mine += [(end_ns + 50_000, held)]
                held = b""
            mine_now, rest = data[: 3 - len(held)], data[3 - len(held) :]
            held += mine_now
            end_ns = start_ns + 10_000 * len(data)
            passed += [(start_ns + 10_000 * len(mine_now) + 300, rest)] if rest else []
        mine += [(end_ns + 50_000, held)]
        latches.append([(time_ns, held) for time_ns, held in mine if len(held) == 3])
        seen = passed
    return latches


# Bytes and how long the line rests after them: below, at and above the reset time.
rests = st.sampled_from([0, 49_999, 50_000]) | st.integers(0, 120_000)
bursts = st.lists(st.tuples(st.binary(max_size=30), rests), min_size=1, max_size=6)


@given(st.integers(1, 400), bursts, st.integers(0, 400_000))
def test_a_line_does_what_its_chips_do_one_after_the_other(leds, bursts, later_ns):
    strip, now_ns, sent = Strip(WS2812B, leds), 1000, []
    for data, rest_ns in bursts:
        strip.receive(np.frombuffer(data, np.uint8), now_ns)
        sent += [(now_ns, data)] if data else []
        now_ns += 10_000 * len(data) + rest_ns
        latches = led_by_led(leds, sent)
        for time_ns in (now_ns, now_ns + later_ns):
            shown = [[h for t, h in mine if t <= time_ns][-1:] or [bytes(3)] for mine in latches]
            wire = np.array([list(held) for (held,) in shown], np.uint8)
            assert strip.drives_at(time_ns).tolist() == wire[:, [1, 0, 2]].tolist()  # GRB


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
    waits = Strip(chip("LPD8806"), 1)
    sent = [[0x81] * 6, [0x82] * 3, [0]]
    lost = [waits.receive(np.array(data, np.uint8), 10**6 * n) for n, data in enumerate(sent)]
    assert [arrival.bytes_over for arrival in lost] == [3, 3, 0]
    assert waits.drives_at(10**9).tolist() == [[2, 2, 2]]


# APA102 datasheet: each chip hands its data on half a clock later, so it needs an end frame of at
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


def test_a_line_that_gets_no_bytes_goes_on_with_what_it_had():
    strip = Strip(WS2812B, 2)
    first = strip.receive(numbered(2), 0)
    nothing = strip.receive(numbered(0), first.ends_ns + 10)
    assert (nothing.early, nothing.bytes_over, nothing.leds_short) == (False, 0, 2)
    assert strip.drives_at(first.latches_ns).tolist() == [[2, 1, 3], [5, 4, 6]]
    assert strip.receive(numbered(1), first.ends_ns + 20).early


def test_clocked_leds_latch_together():
    arrival = Strip(chip("APA102"), 500).receive(np.zeros(4 + 2000 + 32, np.uint8), 0)
    assert arrival.ends_ns == arrival.ready_ns == arrival.latches_ns


# APA102 datasheet: each chip hands its data on half a clock later, so LED 17 needs 8.5 clocks more
# than its own bits, and one byte is 8.
@pytest.mark.parametrize(("leds", "more", "short"), [(1, 0, 0), (2, 0, 1), (17, 1, 0), (18, 1, 1)])
def test_half_a_clock_an_led_is_rounded_up_to_whole_clocks(leds, more, short):
    frame = [0, 0, 0, 0] + leds * [255, 1, 2, 3] + more * [0]
    arrival = Strip(chip("APA102"), leds).receive(np.array(frame, np.uint8), 0)
    assert arrival.leds_short == short


@pytest.mark.parametrize("part", CHIPS)
def test_a_stack_of_whole_frames_does_what_single_frames_do(part):
    leds = np.random.default_rng(1).integers(0, 256, (3, 40, len(chip(part).order)), np.uint8)
    if "I" in chip(part).order:
        leds[..., 0] %= 32
    stack = np.stack([frame_bytes(frame, chip(part)) for frame in leds])
    one, many = Strip(chip(part), 40), Strip(chip(part), 40)
    assert one.takes_whole(stack).tolist() == [True] * 3
    starts_ns = np.array([5, 5 + 10**9, 5 + 2 * 10**9])
    arrivals, shown = [], []
    for frame, starts in zip(stack, starts_ns.tolist(), strict=True):
        arrivals.append(one.receive(frame, starts))
        shown.append(one.drives_at(arrivals[-1].latches_ns))
        assert one.latch_ns_each(frame) == arrivals[-1].latches_ns - starts
    assert many.whole_arrivals(stack, starts_ns) == arrivals
    assert np.array_equal(many.receive_stack(stack, starts_ns), np.stack(shown))
    assert np.array_equal(many.frame_at(arrivals[-1].ready_ns), shown[-1])
    assert not many.frame_at(arrivals[-1].ready_ns - 1).any()
    later_ns = int(starts_ns[-1]) + 10**9
    assert many.receive(stack[0], later_ns) == one.receive(stack[0], later_ns)


def test_which_frames_are_whole():
    plain = Strip(WS2812B, 2)
    assert [plain.takes_whole(np.zeros((2, n), np.uint8)).tolist() for n in (5, 6, 7)] == [
        [False, False], [True, True], [False, False]
    ]  # fmt: skip
    framed = Strip(chip("APA102"), 2)
    whole = np.array([0, 0, 0, 0, 0xE1, 1, 2, 3, 0xFF, 4, 5, 6, 0, 0, 0, 0], np.uint8)
    frames = np.tile(whole, (9, 1))
    frames[1, 3] = 1  # no start frame
    frames[2, 4] = 0xDF  # LEDs without the three ones
    frames[3, 8] = 0
    frames[4, 12:] = 255  # an end frame of ones (APA102 datasheet)
    frames[5, 12] = 0xE0  # what comes next is one more LED
    frames[6, 13:] = 255
    frames[7, 12:15] = 255
    frames[8, 12] = 0xDF
    assert framed.takes_whole(frames).tolist() == [
        True, False, False, False, True, False, True, False, True
    ]  # fmt: skip
    assert not framed.takes_whole(whole[None, :-1]).any()  # its end frame is short
    assert framed.takes_whole(np.append(whole, [9, 9]).astype(np.uint8)[None]).all()
    for frame, expected in zip(frames, framed.takes_whole(frames), strict=True):
        arrival = Strip(chip("APA102"), 2).receive(frame, 0)
        assert not expected or (arrival.bytes_over, arrival.leds_short) == (0, 0)


# LPD8806 datasheet, from memory: a high bit in each byte of an LED, a zero byte for every 32 LEDs.
def test_which_frames_of_7_bits_are_whole():
    strip = Strip(CHIPS["LPD8806"], 2)
    frames = np.tile(np.array([0x81, 0x82, 0x83, 0x84, 0x85, 0x86, 0, 0], np.uint8), (5, 1))
    frames[1, 0] = frames[2, 5] = 0x7F
    frames[3, 6] = frames[4, 7] = 1
    whole = [True, False, False, False, False]
    assert strip.takes_whole(frames).tolist() == whole
    assert strip.takes_whole(frames[:, :7]).tolist() == [True, False, False, False, True]
    assert strip.takes_whole(frames[:, :6]).tolist() == [False] * 5
    forty = np.full((2, 122), 0x80, np.uint8)
    forty[:, 120:] = 0
    assert Strip(CHIPS["LPD8806"], 40).takes_whole(forty).tolist() == [True, True]
    assert Strip(CHIPS["LPD8806"], 40).takes_whole(forty[:, :121]).tolist() == [False, False]


@pytest.mark.parametrize("part", CHIPS)
def test_frames_too_short_are_none_of_them_whole(part):
    whole = Strip(chip(part), 9).takes_whole(np.zeros((2, 3), np.uint8))
    assert (whole.tolist(), whole.dtype) == ([False, False], np.bool_)


def test_a_chip_with_an_end_frame_begins_anew_with_every_frame():
    strip = Strip(chip("APA102"), 1)
    arrival = strip.receive(np.array([0, 0, 0, 0, 255, 1, 2, 3], np.uint8), 0)
    assert not strip.goes_on_at(arrival.ends_ns - 1)


def test_a_clock_takes_as_long_as_its_edges_say():
    """16 MHz is 62.5 ns a bit, of which whole nanoseconds are sent."""
    clock, _ = clocked.encode(numbered(2), 16e6, 0)
    took_ns = Strip(chip("WS2801"), 2, 16e6).wire_ns_each(numbered(2))
    assert took_ns == clock.falls_ns[-1]


def test_a_new_strip_is_dark_and_its_first_frame_never_early():
    for part in CHIPS:
        strip = Strip(chip(part), 3)
        assert strip.drives_at(0).tolist() == [[0] * len(chip(part).order)] * 3
        assert strip.drives_at(0).dtype == strip.frame_at(0).dtype == np.uint8
        assert not strip.receive(np.zeros(20, np.uint8), 0).early
    plain = Strip(chip("WS2801"), 1)
    assert (plain.clock_hz, plain.wire_ns_each(numbered(1))) == (1e6, 24_000)


def test_bits_of_unequal_length_count_each_for_itself():
    uneven = replace(WS2812B, wire=replace(WS2812B.wire, t1l=Span(300, 500, 700)))
    strip = Strip(uneven, 2)  # 1250 ns a 0, 1300 ns a 1
    data = np.array([[[0, 0, 0], [255, 255, 255]], [[1, 0, 3], [128, 0, 0]]], np.uint8)
    ones = np.array([[0, 24], [3, 1]])
    assert strip.wire_ns_each(data).tolist() == (24 * 1250 + 50 * ones).tolist()
    assert strip.wire_ns_each(data).dtype == np.int64
    assert Strip(WS2812B, 2).wire_ns_each(data).tolist() == [[30_000, 30_000]] * 2
    assert strip.latch_ns_each(data).tolist() == (24 * 1250 + 50 * ones + 50_300).tolist()


# LPD8806 datasheet, from memory: each zero byte latches 32 LEDs.
def test_each_zero_byte_latches_32_leds() -> None:
    chip = CHIPS["LPD8806"]
    strip = Strip(chip, 40, 1e6)
    leds = np.full((40, 3), 0xFF, np.uint8).ravel()
    strip.receive(np.append(leds, [0]).astype(np.uint8), 0)
    assert (strip.drives_at(10**9) == 255).all(axis=1).tolist() == [True] * 32 + [False] * 8
    strip.receive(np.append(leds, [0, 0]).astype(np.uint8), 10**9)
    assert (strip.drives_at(2 * 10**9) == 255).all()


def test_bytes_without_a_zero_byte_wait_for_more() -> None:
    strip = Strip(CHIPS["LPD8806"], 2, 1e6)
    assert not strip.receive(np.array([0x81, 0x82, 0x83], np.uint8), 0).early
    assert not strip.drives_at(10**6).any()
    second = strip.receive(np.array([0x84, 0x85, 0x86, 0], np.uint8), 10**6)
    assert (second.early, second.leds_short, second.bytes_over) == (True, 0, 0)
    assert strip.drives_at(10**7).tolist() == [[4, 2, 6], [10, 8, 12]]  # GRB on the wire
    third = strip.receive(np.array([0x81] * 9 + [0], np.uint8), 10**8)
    assert (third.early, third.leds_short, third.bytes_over) == (False, 0, 3)


def test_zero_bytes_alone_latch_nothing_and_are_no_part_of_what_waits() -> None:
    strip = Strip(CHIPS["LPD8806"], 2, 1e6)
    nothing = strip.receive(np.zeros(2, np.uint8), 0)
    assert (nothing.leds_short, nothing.bytes_over) == (2, 0)
    waiting = strip.receive(np.array([0, 0, 0, 0x81, 0x82, 0x83, 0x84, 0x85], np.uint8), 10**6)
    assert (waiting.early, waiting.leds_short) == (False, 2)
    last = strip.receive(np.array([0x86, 0], np.uint8), 10**7)
    assert (last.early, last.leds_short, last.bytes_over) == (True, 0, 0)
    assert strip.drives_at(10**9).tolist() == [[4, 2, 6], [10, 8, 12]]  # GRB on the wire


def test_a_frame_is_sent_when_every_line_has_it_and_shown_when_the_last_led_shows_it() -> None:
    quick = Arrival(140, 190, 195, early=False, bytes_over=2, leds_short=0)
    slow = Arrival(160, 170, 180, early=True, bytes_over=3, leds_short=4)
    for lines in ((quick, slow), (slow, quick)):
        sent = sent_of(100, lines)
        assert sent == Sent(100, wire_ns=60, ready_ns=190, latched_ns=195, early=True, lines=lines)
        assert (sent.bytes_over, sent.leds_short) == (5, 4)
    assert not sent_of(100, (quick, quick)).early


def test_leds_too_many_of_a_marked_frame_fall_off_with_all_their_bytes():
    frame = [0, 0, 0, 0, 255, 1, 2, 3, 225, 4, 5, 6, 225, 7, 8, 9, 0, 0, 0, 0]
    arrival = Strip(chip("APA102"), 1).receive(np.array(frame, np.uint8), 0)
    assert (arrival.bytes_over, type(arrival.bytes_over)) == (8, int)
