"""Clock and data lines: round trips, rests, start frames, cut captures."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from emulator.description.chips import CHIPS, Clocked
from emulator.errors import FrameError
from emulator.signal import clocked
from emulator.signal.framing import frame_bytes, led_bytes
from emulator.signal.waveform import Waveform

WIRES = {part: chip.wire for part, chip in CHIPS.items() if isinstance(chip.wire, Clocked)}
WS2801, APA102 = WIRES["WS2801"], WIRES["APA102"]


def part_of(wave: Waveform, begin: int, end: int) -> Waveform:
    """What a capture from `begin` to `end` sees of a waveform."""
    edges = wave.edges_ns
    ahead = int(np.count_nonzero(edges <= begin))
    inside = edges[(edges > begin) & (edges <= end)]
    return Waveform(inside, wave.first_level ^ bool(ahead & 1), begin, end)


@given(
    arrays(np.uint8, st.tuples(st.integers(1, 4), st.integers(1, 20))),
    st.sampled_from([1e3, 1e6, 3.3e6, 25e6, 500e6]),
)
def test_every_legal_stack_comes_back_where_the_clock_rests(frames: np.ndarray, hz: float) -> None:
    rest_ns = max(WS2801.rest_ns, 2 * round(1e9 / hz))
    wire = Clocked("rest", WS2801.most_hz, rest_ns)
    clock, data = clocked.encode(frames, hz, rest_ns=rest_ns)
    got = clocked.decode(clock, data, wire)
    assert np.array_equal(np.stack(got.frames()), frames)
    assert (got.first_cut, got.last_cut, got.stray) == (False, False, 0)


@given(data=st.data())
def test_every_stack_with_a_start_frame_comes_back(data: st.DataObject) -> None:
    chip = CHIPS["APA102"]
    count = data.draw(st.integers(1, 4))
    leds = data.draw(arrays(np.uint8, (count, data.draw(st.integers(1, 70)), 4)))
    leds[..., 0] &= 31
    frames = np.stack([frame_bytes(one, chip) for one in leds])
    clock, line = clocked.encode(frames, 8e6)
    got = clocked.decode(clock, line, APA102)
    assert np.array_equal(np.stack(got.frames()), frames)
    assert np.array_equal(np.stack([led_bytes(one, chip) for one in got.frames()]), leds)
    assert (got.first_cut, got.last_cut, got.stray) == (False, False, 0)


def test_edges_worked_by_hand() -> None:
    # 10 MHz is 100 ns a bit; SPI mode 0: data changes while the clock is low, it rises mid-bit.
    clock, data = clocked.encode(np.array([0b01100001], dtype=np.uint8), 10e6, 1000)
    assert clock.edges_ns.tolist()[:4] == [1050, 1100, 1150, 1200]
    assert clock.edges_ns.tolist()[-2:] == [1750, 1800]
    assert data.edges_ns.tolist() == [1100, 1300, 1700]  # the last level stays
    got = clocked.decode(clock, data, WS2801)
    assert (got.start_ns.tolist(), got.end_ns.tolist()) == ([1050], [1800])


def test_a_rest_too_short_does_not_end_a_frame() -> None:
    frames = np.array([[1, 2], [3, 4]], dtype=np.uint8)
    for rest, count in ((499_949, 1), (499_950, 2)):  # the low half of a bit adds 50 ns
        starts = np.array([0, 1600 + rest])
        clock, data = clocked.encode(frames, 10e6, starts, 500_000)
        assert len(clocked.decode(clock, data, WS2801)) == count


def test_a_capture_of_part_of_a_frame_may_be_cut() -> None:
    clock, data = clocked.encode(np.arange(40, dtype=np.uint8), 1e6, 0, rest_ns=600_000)
    whole = clocked.decode(clock, data, WS2801)
    assert not whole.first_cut
    assert not whole.last_cut
    for begin, end, first, last in (
        (100_200, 900_000, True, False),
        (-600_000, 99_700, False, True),
    ):
        got = clocked.decode(part_of(clock, begin, end), part_of(data, begin, end), WS2801)
        assert (got.first_cut, got.last_cut) == (first, last)
        assert 0 < got.bits.size < 320


def test_bits_before_the_first_start_frame_are_a_cut_frame() -> None:
    chip = CHIPS["APA102"]
    frames = np.stack([frame_bytes(np.full((3, 4), level, np.uint8), chip) for level in (7, 9)])
    clock, data = clocked.encode(frames, 1e6, np.array([0, 200_000]))
    begin = 70_200  # within the second LED of the first frame
    got = clocked.decode(part_of(clock, begin, 10**6), part_of(data, begin, 10**6), APA102)
    assert got.first_cut
    assert not got.last_cut
    assert got.bit_counts.tolist() == [160 - 70, 160]
    assert np.array_equal(got.frames()[1], frames[1])


@pytest.mark.parametrize("bits", [32 + 32 * 10, 32 + 32 * 10 + 4, 32 + 32 * 10 + 20])
def test_a_frame_without_its_end_frame_is_cut(bits: int) -> None:
    # 12 LEDs sent, the capture ends after 10, within the 11th, or further within it.
    frame = frame_bytes(np.full((12, 4), 5, np.uint8), CHIPS["APA102"])
    clock, data = clocked.encode(frame, 1e6, 0)
    end = bits * 1000
    got = clocked.decode(part_of(clock, -100, end), part_of(data, -100, end), APA102)
    assert got.bits.size == bits
    assert got.last_cut


def test_an_end_frame_of_ones_ends_a_frame() -> None:
    # APA102 datasheet draws the end frame as 32 ones.
    frame = np.array([0] * 4 + [0xE3, 1, 2, 3] * 5 + [255] * 4, dtype=np.uint8)
    got = clocked.decode(*clocked.encode(frame, 1e6), APA102)
    assert not got.last_cut


# APA102 datasheet: each LED needs half a clock more than the one before.
@pytest.mark.parametrize(
    ("data", "cut"),
    [
        ([*[0xE1, 1, 2, 3] * 70, *[0] * 4], True),  # 32 clocks for 70 LEDs
        ([*[0xE1, 1, 2, 3] * 70, *[0] * 5], False),
        ([*[0xE1, 1, 2, 3] * 64, *[0] * 4], False),
        ([0xE1, 1, 2, 3, 0], False),
        ([0xE1, 1, 2, 3, 0xE1], True),  # within an LED
        ([0xE1, 1, 2, 3, 0xFF], False),  # ones may be an end frame
        ([0xFF] * 4, False),
    ],
)
def test_the_last_frame_is_whole_where_enough_follows_its_leds(data: list[int], cut: bool) -> None:
    frame = np.array([0, 0, 0, 0, *data], dtype=np.uint8)
    assert clocked.decode(*clocked.encode(frame, 1e6), APA102).last_cut is cut


def test_leds_without_a_start_frame_are_cut_at_both_ends() -> None:
    frame = np.array([0xE1, 1, 2, 3, 0xE1, 1, 2, 3, 0, 0], dtype=np.uint8)
    got = clocked.decode(*clocked.encode(frame, 1e6), APA102)
    assert (len(got), got.first_cut, got.last_cut) == (1, True, True)


def test_zeros_without_an_led_are_stray() -> None:
    got = clocked.decode(*clocked.encode(np.zeros(9, dtype=np.uint8), 1e6), APA102)
    assert (len(got), got.stray, got.frames()) == (0, 72, [])
    late = np.array([0] * 6 + [0xFF, 1, 2, 3] + [0] * 4, dtype=np.uint8)
    got = clocked.decode(*clocked.encode(late, 1e6), APA102)
    assert (got.offsets.tolist(), got.stray, got.first_cut) == ([0, 96], 16, False)


widths = st.lists(st.one_of(st.integers(1, 50), st.integers(1, 900_000)), max_size=60)


@pytest.mark.parametrize("wire", [WS2801, APA102], ids=["rest", "end frame"])
@given(widths, widths, st.booleans(), st.booleans())
def test_any_edges_decode_and_every_clock_is_accounted_for(
    wire: Clocked, clock_widths: list[int], data_widths: list[int], first: bool, high: bool
) -> None:
    end = sum(clock_widths) + sum(data_widths)
    clock = Waveform(np.cumsum(clock_widths, dtype=np.int64), first, 0, end)
    data = Waveform(np.cumsum(data_widths, dtype=np.int64), high, 0, end)
    got = clocked.decode(clock, data, wire)
    assert got.bits.size + got.stray == clock.rises_ns.size
    assert got.offsets[0] == 0
    assert got.offsets[-1] == got.bits.size
    assert (got.bit_counts > 0).all()
    assert len(got.frames()) == len(got)
    assert (got.start_ns <= got.end_ns).all()


def test_bits_are_unsure_where_the_data_change_within_a_step_of_the_rise() -> None:
    """A step of 100 ns: both edges may lie that much earlier, so those nearer than it may swap."""
    rises = np.arange(1000, 7000, 1000)
    clock = np.stack([rises, rises + 500], axis=1).ravel()
    changes = np.array([901, 2099, 2900, 4100, 5000], dtype=np.int64)
    for step_ns, unsure in ((100, 3), (101, 5), (1, 0)):
        lines = [Waveform(edges, False, 0, 10_000, step_ns) for edges in (clock, changes)]
        assert clocked.decode(lines[0], lines[1], WS2801).unsure == unsure


def test_what_cannot_be_sent_is_refused() -> None:
    frames = np.zeros((2, 3), dtype=np.uint8)
    with pytest.raises(FrameError, match="frame 1 begins"):
        clocked.encode(frames, 1e6, np.array([0, 100]))
    for hz in (0.0, -1.0, 500e6 + 0.5, float("nan")):
        with pytest.raises(FrameError, match="Hz") as refused:
            clocked.encode(frames, hz)
        assert refused.value.fix == "give more than 0, at most 500 MHz."


@pytest.mark.parametrize("leds", [1, 32, 33, 70])
def test_frames_of_7_bit_chips_run_to_the_next_high_bit_after_zeros(leds: int) -> None:
    chip = CHIPS["LPD8806"]
    assert isinstance(chip.wire, Clocked)
    drives = np.random.default_rng(leds).integers(0, 256, (3, leds, 3), dtype=np.uint8)
    drives[1] = 0  # dark: each byte is 1000 0000
    frames = np.stack([frame_bytes(one, chip) for one in drives])
    clock, data = clocked.encode(frames, 2e6, rest_ns=100_000)
    got = clocked.decode(clock, data, chip.wire)
    assert [one.tolist() for one in got.frames()] == frames.tolist()
    assert (got.first_cut, got.last_cut, got.stray) == (True, False, 0)
    cut = clocked.decode(
        *clocked.encode(frames[:, :-1] if leds < 33 else frames[:, :-2], 2e6), chip.wire
    )
    assert cut.last_cut


def test_a_clock_may_be_as_slow_as_one_likes() -> None:
    clock, _ = clocked.encode(np.array([1], dtype=np.uint8), 0.5, 0)
    assert np.diff(clock.rises_ns).tolist() == [2_000_000_000] * 7


def test_nothing_to_send_is_a_silent_pair_of_lines() -> None:
    clock, data = clocked.encode(np.zeros((0, 3), dtype=np.uint8), 1e6, rest_ns=5000)
    assert (clock.start_ns, clock.end_ns, clock.edges_ns.size) == (0, 5000, 0)
    for wire in WIRES.values():
        got = clocked.decode(clock, data, wire)
        assert (len(got), got.first_cut, got.last_cut, got.stray) == (0, False, False, 0)


# WS2801 datasheet: the chips latch when the clock has rested low for 500 µs.
@pytest.mark.parametrize(
    ("first", "ahead", "after", "cut"),
    [
        (False, 500_000, 500_000, (False, False)),
        (False, 499_999, 500_000, (True, False)),
        (False, 500_000, 499_999, (False, True)),
        (True, 500_000, 500_000, (False, False)),  # the end of a clock, then a whole rest
        (True, 499_999, 500_000, (True, False)),
    ],
)
def test_a_rest_on_either_side_makes_a_frame_whole(
    first: bool, ahead: int, after: int, cut: tuple[bool, bool]
) -> None:
    edges = np.cumsum([*[7] * first, ahead, *[50] * 15], dtype=np.int64)
    clock = Waveform(edges, first, 0, int(edges[-1]) + after)
    data = Waveform(np.zeros(0, dtype=np.int64), True, 0, clock.end_ns)
    got = clocked.decode(clock, data, WS2801)
    assert (got.first_cut, got.last_cut, got.bits.tolist()) == (*cut, [1] * 8)


def test_a_start_frame_is_32_zeros_before_a_1() -> None:
    def begins(*zeros: int) -> list[int]:
        bits = [bit for count in zeros for bit in [0] * count + [1]]
        return clocked.start_frames(np.array(bits, dtype=np.uint8)).tolist()

    assert begins(31) == []
    assert begins(32) == [0]
    assert begins(40, 31, 32, 33) == [8, 73, 107]


def test_what_8_zeros_or_more_precede_begins_a_frame_of_7_bit_chips() -> None:
    def begins(*zeros: int) -> list[int]:
        bits = [bit for count in zeros for bit in [0] * count + [1]]
        return clocked.after_zero_bytes(np.array(bits, dtype=np.uint8)).tolist()

    assert begins(7) == []
    assert begins(8) == [8]
    assert begins(0, 7, 8, 9) == [17, 27]


def test_frames_of_7_bit_chips_are_whole_behind_zero_bytes() -> None:
    wire = WIRES["LPD8806"]
    none = clocked.decode(*clocked.encode(np.zeros(3, dtype=np.uint8), 1e6), wire)
    assert (len(none), none.stray, none.first_cut, none.last_cut) == (0, 24, False, False)
    for data, cut in (
        ([0, 0x81, 0x82, 0x83, 0, 0x84, 0x85, 0x86, 0], (False, False)),
        ([0x81, 0x82, 0x83, 0, 0x84, 0x85, 0x86, 0], (True, False)),
        ([0, 0x81, 0x82, 0x83, 0, 0x84, 0x85, 0x86], (False, True)),
        ([0, *[0x81] * 96, 0], (False, False)),
        ([0, *[0x81] * 99, 0], (False, True)),  # 33 LEDs want two
        ([0, *[0x81] * 99, 0, 0], (False, False)),
        ([0x81, 0x82, 0x83, 0], (True, False)),
        ([0, 0x81, 0x82, 0x80], (False, True)),
        ([0, *[0x81] * 97, 0], (False, False)),  # a part of an LED wants none
    ):
        got = clocked.decode(*clocked.encode(np.array(data, dtype=np.uint8), 1e6), wire)
        assert (got.first_cut, got.last_cut) == cut, data
