"""One-wire lines: round trips, and every fault of a line."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from emulator.description.chips import CHIPS, OneWire, Span
from emulator.errors import FrameError
from emulator.signal import onewire
from emulator.signal.waveform import Waveform

WIRES = {part: chip.wire for part, chip in CHIPS.items() if isinstance(chip.wire, OneWire)}
SK6812 = WIRES["SK6812"]
one_wire = pytest.mark.parametrize("wire", WIRES.values(), ids=WIRES.keys())


def line(
    widths: list[int], first: bool = False, wire: OneWire = SK6812, idle: bool = True
) -> Waveform:
    """A waveform of these times between edges; `idle` puts a reset before the first and after."""
    pause = wire.reset_ns if idle else 0
    edges = np.cumsum([0, *widths], dtype=np.int64)
    return Waveform(edges, first, -pause, int(edges[-1]) + pause)


def bits_of(text: str) -> list[int]:
    """Widths of SK6812 pulses for 0s and 1s; ends with a pulse, so the last low is left open."""
    widths = {"0": [300, 900], "1": [600, 600]}
    return [width for bit in text for width in widths[bit]][:-1]


@one_wire
@given(data=st.data())
def test_every_legal_stack_comes_back_as_it_was_sent(wire: OneWire, data: st.DataObject) -> None:
    shape = data.draw(st.tuples(st.integers(1, 4), st.integers(1, 12)))
    frames = data.draw(arrays(np.uint8, shape))
    pauses = data.draw(arrays(np.int64, shape[0], elements=st.integers(0, 10**7)))
    ones = np.unpackbits(frames, axis=1).sum(axis=1, dtype=np.int64)
    zero_ns, one_ns = wire.bit_ns
    length = ones * one_ns + (8 * shape[1] - ones) * zero_ns
    starts = np.cumsum(length + wire.reset_ns + pauses) - length
    got = onewire.decode(onewire.encode(frames, wire, starts), wire)
    assert np.array_equal(np.stack(got.frames()), frames)
    assert np.array_equal(got.data, frames.ravel())
    assert got.start_ns.tolist() == starts.tolist()
    last_high = np.where(frames[:, -1] & 1, wire.t1h.nominal, wire.t0h.nominal)
    last_bit = np.where(frames[:, -1] & 1, one_ns, zero_ns)
    assert got.end_ns.tolist() == (starts + length - last_bit + last_high).tolist()
    assert (got.first_cut, got.last_cut, got.glitches, got.stray) == (False, False, 0, 0)


@one_wire
def test_a_stack_is_its_frames_one_by_one(wire: OneWire) -> None:
    frames = np.random.default_rng(7).integers(0, 256, (3, 50), dtype=np.uint8)
    stack = onewire.encode(frames, wire)
    starts = onewire.decode(stack, wire).start_ns
    singles = [onewire.encode(f, wire, int(s)) for f, s in zip(frames, starts, strict=True)]
    edges = np.concatenate([single.edges_ns for single in singles])
    assert np.array_equal(stack.edges_ns, edges)


def test_frames_follow_each_other_at_one_reset_time_by_default() -> None:
    sent = onewire.encode(np.zeros((2, 3), dtype=np.uint8), SK6812)
    frames = onewire.decode(sent, SK6812)
    # 24 bits of 1.2 µs each: SK6812 datasheet, T0H 0.3 µs + T0L 0.9 µs; reset 80 µs.
    assert frames.start_ns.tolist() == [80_000, 80_000 + 24 * 1200 + 80_000]


def test_a_waveform_covers_a_reset_time_on_either_side() -> None:
    sent = onewire.encode(np.zeros(3, dtype=np.uint8), SK6812, 500_000)
    assert (sent.start_ns, sent.end_ns) == (420_000, 500_000 + 24 * 1200 + 80_000)


def test_a_frame_sent_before_the_reset_has_passed_is_the_tail_of_the_one_before() -> None:
    frames = np.array([[1, 2, 3], [4, 5, 6]], dtype=np.uint8)
    length = 24 * 1200
    # The last low of a bit adds to the pause: 900 ns of T0L, 600 ns of T1L.
    for pause, count in ((80_000 - 601, 1), (80_000 - 600, 2)):
        starts = np.array([0, length + pause])
        got = onewire.decode(onewire.encode(frames, SK6812, starts), SK6812)
        assert got.bit_counts.tolist() == ([48] if count == 1 else [24, 24])
        assert np.array_equal(got.data, frames.ravel())


def test_a_pause_within_a_frame_stays_within_it() -> None:
    widths = [*bits_of("10110"), 40_000, *bits_of("011")]
    got = onewire.decode(line(widths), SK6812)
    assert got.bits.tolist() == [1, 0, 1, 1, 0, 0, 1, 1]
    assert len(got) == 1


def test_pulses_are_told_apart_at_the_threshold() -> None:
    wire = WIRES["WS2812B"]  # T0H up to 550 ns, T1H from 650 ns: midway is 600 ns
    got = onewire.decode(line([599, 900, 600, 900, 601], wire=wire), wire)
    assert got.bits.tolist() == [0, 1, 1]


def test_a_partial_frame_keeps_the_bits_it_has() -> None:
    got = onewire.decode(line(bits_of("1111000011")), SK6812)
    assert got.bit_counts.tolist() == [10]
    assert got.frames()[0].tolist() == [0b11110000, 0b11000000]


def test_a_capture_that_begins_within_a_frame_may_be_cut() -> None:
    widths = bits_of("1010")
    assert onewire.decode(line(widths, idle=False), SK6812).first_cut
    assert onewire.decode(line(widths, idle=False), SK6812).last_cut
    assert onewire.decode(line(widths, idle=False).moved(10**6), SK6812).last_cut
    whole = onewire.decode(line(widths), SK6812)
    assert not whole.first_cut
    assert not whole.last_cut


def test_a_capture_that_begins_within_a_pulse_leaves_it_out_and_says_so() -> None:
    got = onewire.decode(line([900, *bits_of("110")], first=True), SK6812)
    assert got.bits.tolist() == [1, 1, 0]
    assert (got.first_cut, got.last_cut, got.stray) == (True, False, 1)
    # After a whole reset the first frame is whole, even if a pulse before it was cut.
    got = onewire.decode(line([80_000, *bits_of("110")], first=True), SK6812)
    assert (got.bits.tolist(), got.first_cut, got.stray) == ([1, 1, 0], False, 1)


def test_a_capture_that_ends_within_a_pulse_leaves_it_out_and_says_so() -> None:
    got = onewire.decode(line([*bits_of("110"), 900]), SK6812)
    assert (got.bits.tolist(), got.last_cut, got.stray) == ([1, 1, 0], True, 1)
    # With a whole reset before the cut pulse the frame is whole.
    got = onewire.decode(line([*bits_of("110"), 80_000]), SK6812)
    assert (got.bits.tolist(), got.last_cut, got.stray) == ([1, 1, 0], False, 1)


def test_half_an_odd_pulse_is_cut_to_whole_nanoseconds() -> None:
    odd = onewire.glitch_ns(replace(SK6812, t0h=Span(151, 300, 450)))
    assert (odd, type(odd)) == (75, int)
    assert onewire.glitch_ns(replace(SK6812, t0l=Span(60, 900, 1000))) == 60


def test_glitches_are_left_out_and_counted() -> None:
    # A spike in the reset gap, and a dip within a 1. Shortest legal pulse 150 ns, so under 75 ns.
    widths = [*bits_of("01"), 50_000, 74, 50_000, 300, 20, 280, 600, 300]
    got = onewire.decode(line(widths), SK6812)
    assert got.bit_counts.tolist() == [2, 2]
    assert (got.bits.tolist(), got.glitches) == ([0, 1, 1, 0], 2)
    at_limit = onewire.decode(line([*bits_of("01"), 50_000, 75, 50_000, 300]), SK6812)
    assert (at_limit.bits.tolist(), at_limit.glitches) == ([0, 1, 0, 0], 0)


@pytest.mark.parametrize(
    ("widths", "first", "bits", "glitches", "stray"),
    [
        ([600, 900, 300, 20, 300, 900, 300], False, [1, 1, 0], 1, 0),  # a dip between pulses
        ([20, 300, 900, 600], True, [1], 1, 1),  # a dip within a pulse that the beginning cuts
        ([600, 900, 300, 20], False, [1], 1, 1),  # and within one that the end cuts
    ],
)
def test_a_dip_within_a_pulse_does_not_split_it(
    widths: list[int], first: bool, bits: list[int], glitches: int, stray: int
) -> None:
    for later_ns in (0, 5000):
        got = onewire.decode(line(widths, first).moved(later_ns), SK6812)
        assert (got.bits.tolist(), got.glitches, got.stray) == (bits, glitches, stray)


@pytest.mark.parametrize("level", [False, True])
def test_a_silent_line_holds_no_frame(level: bool) -> None:
    got = onewire.decode(Waveform(np.zeros(0, dtype=np.int64), level, 0, 10**9), SK6812)
    assert (len(got), got.frames(), got.first_cut, got.last_cut) == (0, [], False, False)
    assert (got.stray, got.unsure) == (int(level), 0)


@given(
    st.lists(st.one_of(st.integers(1, 2000), st.integers(1, 200_000)), max_size=60),
    st.booleans(),
    st.sampled_from([1, 40, 250, 1000, 10**12]),
)
def test_any_edges_decode_and_every_pulse_is_accounted_for(
    widths: list[int], first: bool, resolution: int
) -> None:
    edges = np.cumsum(widths, dtype=np.int64)
    end = int(edges[-1]) if widths else 0
    got = onewire.decode(Waveform(edges, first, 0, end, resolution), SK6812)
    assert got.offsets[0] == 0
    assert got.offsets[-1] == got.bits.size
    assert (got.bit_counts > 0).all()
    assert (got.start_ns < got.end_ns).all()
    assert sum(frame.size for frame in got.frames()) == (-(-got.bit_counts // 8)).sum()
    # Each bit and glitch uses up two edges, a cut pulse one; a line high throughout has none.
    edges_of_cut_pulses = got.stray if 2 * got.glitches < len(widths) else 0
    assert 2 * (got.bits.size + got.glitches) + edges_of_cut_pulses == len(widths)


@given(st.data())
def test_a_coarse_capture_of_two_groups_decodes_as_the_exact_line(data: st.DataObject) -> None:
    # 400 and 850 ns as the SK6812 captures have it: at 250 ns 400 reads as 250 or 500, and 500
    # lies above the chip's own threshold of 450.
    sent = data.draw(arrays(np.uint8, st.integers(4, 40)))
    sent[:4] = [0, 255, 0x55, 0xAA]
    wire = replace(SK6812, t0h=Span(0, 430, 0), t0l=Span(0, 870, 0))
    wire = replace(wire, t1h=Span(0, 880, 0), t1l=Span(0, 470, 0))
    exact = onewire.encode(sent, wire, 0)
    phase = data.draw(st.integers(0, 249))
    sampled = -(-(exact.edges_ns + phase) // 250) * 250  # the first sample that shows each edge
    got = onewire.decode(Waveform(sampled, False, -(10**6), 10**9, 250), SK6812)
    assert got.data.tolist() == sent.tolist()
    assert got.unsure > 0


def test_a_coarse_capture_of_one_symbol_is_told_by_its_mean() -> None:
    def read(highs: list[int]) -> list[int]:
        widths = [width for high in highs for width in (high, 1500 - high)][:-1]
        edges = np.cumsum([0, *widths], dtype=np.int64)
        return onewire.decode(Waveform(edges, False, -100_000, 10**6, 250), SK6812).bits.tolist()

    assert read([250, 500, 500, 250]) == [0, 0, 0, 0]  # mean 375, below 450
    assert read([500, 750, 500, 750]) == [1, 1, 1, 1]
    assert read([250, 500, 750, 1000]) == [0, 0, 1, 1]


def test_what_cannot_be_sent_is_refused() -> None:
    frames = np.zeros((2, 3), dtype=np.uint8)
    with pytest.raises(FrameError, match="frame 1 begins at 100 ns"):
        onewire.encode(frames, SK6812, np.array([0, 100]))
    with pytest.raises(FrameError, match="one start time a frame"):
        onewire.encode(frames, SK6812, np.array([0]))
    with pytest.raises(FrameError, match="float64"):
        onewire.encode(np.zeros(3), SK6812)


@pytest.mark.parametrize("shape", [(0,), (0, 5), (2, 0)])
def test_nothing_to_send_is_a_silent_line(shape: tuple[int, ...]) -> None:
    sent = onewire.encode(np.zeros(shape, dtype=np.uint8), SK6812)
    assert not sent.edges_ns.size
    assert len(onewire.decode(sent, SK6812)) == 0


# By hand from the rule in `threshold_ns`, SK6812: own threshold 450 ns, nominal highs 300 ns apart.
@pytest.mark.parametrize(
    ("high_ns", "margin_ns", "split_ns", "unsure"),
    [
        ([300, 600, 440], 0, 450, 0),  # exact
        ([350, 550], 100, 450, 0),  # a whole step away is sure
        ([351, 700], 100, 526, 1),
        ([200, 400, 700], 100, 550, 1),  # the wider group spans two steps
        ([199, 400, 700], 100, 550, 1),  # and more than two, yet less than lies between them
        ([200, 500, 700], 100, 350, 1),
        ([200, 500, 701], 100, 350, 1),
        ([400, 550], 100, 475, 1),  # the groups lie 150 ns apart, half the nominal difference
        ([400, 549], 100, 475, 2),  # less, but there is no other split for steady pulses
        ([437, 500, 562, 625], 63, 531, 2),  # nor here: 446 and 573 ns at 16 MHz
        ([417, 458, 541, 584], 43, 500, 2),  # and at 24 MHz
        ([299, 549], 100, 424, 1),  # just within a step
        ([300, 460, 620], 200, 380, 3),  # of two equal splits the one nearer to 450
        ([280, 440, 600], 200, 520, 3),
        ([200, 300, 500, 700], 100, 400, 1),  # the longest of the sure 0s counts
        ([300, 350, 500, 700], 100, 425, 1),
        ([400, 500, 600], 100, 450, 2),  # 150 ns apart, though there are two splits
        ([329, 351, 449, 549, 569], 200, 499, 5),  # of 400 and 499
        ([400, 500], 100, 400, 2),  # one symbol, a 1 by its mean of 450
        ([399, 499], 100, 500, 2),  # a 0
        ([400, 501, 501], 100, 451, 3),  # more than a step, so two groups
        ([300, 600], 10**6, 300, 2),  # coarser than a pulse is long
        ([], 100, 450, 0),
    ],
)
def test_where_a_sampled_line_is_split(
    high_ns: list[int], margin_ns: int, split_ns: int, unsure: int
) -> None:
    high = np.array(high_ns, dtype=np.int64)
    for way in (high, high[::-1]):
        assert onewire.threshold_ns(way, SK6812, margin_ns) == (split_ns, unsure, True)


def test_pulses_in_no_two_groups_leave_the_chips_threshold_and_a_doubt() -> None:
    high = np.array([300, 400, 500, 600, 700] * 5)
    assert onewire.threshold_ns(high, SK6812, 60) == (450, 10, False)
    widths = np.stack([high, np.full(25, 900)], axis=1).ravel()
    edges = np.concatenate([[0], np.cumsum(widths)])[:-1]
    unsteady = onewire.decode(Waveform(edges, False, -100_000, 10**6, 60), SK6812)
    assert (unsteady.plain, unsteady.unsure) == (False, 10)
    for unsteady_ns, margin_ns, unsure in (
        ([400, 500, 599], 100, 2),  # two splits, and less than 150 ns apart
        ([350, 450, 550], 40, 1),  # a group spans more than two steps, and as much as lies between
        ([400, 490, 550], 100, 2),  # less than one step and a half between
    ):
        split = onewire.threshold_ns(np.array(unsteady_ns), SK6812, margin_ns)
        assert split == (450, unsure, False)
    # A 0 that wanders by 24 ns is not two symbols, though it seems to be two groups of a step.
    assert onewire.threshold_ns(np.array([434, 442, 450, 458]), SK6812, 8) == (450, 1, False)


def test_no_pulse_that_may_be_a_legal_one_is_taken_for_a_glitch() -> None:
    # 250 ns, the least of WS2812B's T0H, may read as little as 250 less the margin.
    wire = CHIPS["WS2812B"].wire
    assert isinstance(wire, OneWire)
    assert [onewire.glitch_ns(wire, margin) for margin in (0, 125, 200, 300)] == [125, 125, 50, 0]
    edges = np.cumsum([0, 100, 900, 600, 900, 600])
    glitches = [
        onewire.decode(Waveform(edges, False, -100_000, 10**6, step_ns), wire).glitches
        for step_ns in (1, 200)
    ]
    assert glitches == [1, 0]
