"""Frames from messages: whole or not at all, and every one counted."""

from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator.ports.serial.assembly import Assembly, Settled
from emulator.ports.serial.protocol import (
    TO_BOARD,
    Data,
    Decoder,
    Latch,
    crc16,
    encode_frame,
    frame_messages,
)

ROOM = (12, 9)


def take(assembly, messages):
    ended = []
    for message in messages:
        ended += assembly.data(message) if isinstance(message, Data) else assembly.latch(message)
    return ended


def frame(number, fill=None, sizes=ROOM, most_data=5):
    fill = number if fill is None else fill
    return list(frame_messages(number, [bytes([fill % 251 + 1]) * n for n in sizes], most_data))


def shown(ended):
    return [each.lines for each in ended if each.lines is not None]


def test_a_whole_frame_is_latched():
    assembly = Assembly(ROOM)
    ended = take(assembly, frame(7))
    assert ended == [Settled(7, False, (b"\x08" * 12, b"\x08" * 9))]
    assert (assembly.latched, assembly.dropped) == (1, 0)


@pytest.mark.parametrize("sizes", [(0, 0), (0, 9), (3, 0), (12, 1)])
def test_a_frame_may_be_short_or_empty(sizes):
    assembly = Assembly(ROOM)
    assert [tuple(map(len, lines)) for lines in shown(take(assembly, frame(0, sizes=sizes)))] == [
        sizes
    ]


@pytest.mark.parametrize("sizes", [(13, 0), (12, 10), (0, 0, 1)])
def test_a_frame_that_does_not_fit_the_lines_is_dropped(sizes):
    assembly = Assembly(ROOM)
    assert shown(take(assembly, frame(0, sizes=sizes))) == []
    assert (assembly.latched, assembly.dropped) == (0, 1)


MESSAGES = len(frame(0))


@pytest.mark.parametrize("lost", range(MESSAGES))
def test_one_lost_message_costs_one_frame(lost):
    assembly = Assembly(ROOM)
    stream = [*frame(0), *frame(1), *frame(2)]
    del stream[MESSAGES + lost]
    ended = take(assembly, stream)
    assert [lines[0][0] for lines in shown(ended)] == [1, 3]
    assert (assembly.latched, assembly.dropped) == (2, 1)
    assert [(each.frame, each.dropped) for each in ended] == [(0, False), (1, True), (2, False)]


@pytest.mark.parametrize("double", range(MESSAGES))
def test_a_doubled_message_costs_at_most_one_frame_and_tears_none(double):
    assembly = Assembly(ROOM)
    stream = [*frame(0), *frame(1), *frame(2)]
    stream.insert(MESSAGES + double, stream[MESSAGES + double])
    ended = take(assembly, stream)
    assert [lines[0][0] for lines in shown(ended)] in ([1, 2, 3], [1, 3])
    assert assembly.latched + assembly.dropped == 3


def test_equal_counts_do_not_hide_an_exchange_of_pieces():
    """One piece lost and another of the same size come twice: the count is right."""
    assembly = Assembly(ROOM)
    stream = frame(0)
    stream[1] = stream[0]
    assert shown(take(assembly, stream)) == []


def test_a_gap_is_seen_whatever_the_latch_says():
    pieces = [Data(0, 0, 0, b"ab"), Data(0, 0, 3, b"cd")]
    assembly = Assembly(ROOM)
    assert shown(take(assembly, [*pieces, Latch(0, 4, crc16(b"abcd"))])) == []


@pytest.mark.parametrize(("count", "crc"), [(3, crc16(b"ab")), (2, crc16(b"ab") ^ 1)])
def test_count_and_crc_of_the_latch_must_both_agree(count, crc):
    assembly = Assembly(ROOM)
    assert shown(take(assembly, [Data(0, 0, 0, b"ab"), Latch(0, count, crc)])) == []
    assert shown(take(assembly, [Data(1, 0, 0, b"ab"), Latch(1, 2, crc16(b"ab"))]))


def test_data_of_a_settled_frame_come_late_is_ignored():
    assembly = Assembly(ROOM)
    take(assembly, frame(3))
    assert take(assembly, frame(3)[1:3]) == []
    take(assembly, frame(4))
    assert (assembly.latched, assembly.dropped) == (2, 0)


def test_pieces_of_two_frames_do_not_mix():
    assembly = Assembly(ROOM)
    one, two = frame(0, fill=1), frame(0, fill=2)  # a sender that gives every frame number 0
    assert shown(take(assembly, [*one[:3], *two[3:]])) == []
    assert shown(take(assembly, two)) == [(b"\x03" * 12, b"\x03" * 9)]


def test_frames_of_which_nothing_came_are_counted():
    assembly = Assembly(ROOM)
    take(assembly, [*frame(65534), *frame(2)])
    assert (assembly.latched, assembly.dropped) == (2, 3)  # 65535, 0 and 1


def test_a_frame_lacks_its_first_message_even_where_that_was_empty():
    assembly = Assembly(ROOM)
    assert shown(take(assembly, frame(0, sizes=(0, 9))[1:])) == []
    assert assembly.dropped == 1


def test_a_piece_come_twice_spoils_a_frame_though_its_bytes_would_agree():
    pieces = [Data(0, 0, 0, b"ab"), Data(0, 0, 2, b"cd"), Data(0, 0, 2, b"cd")]
    assembly = Assembly(ROOM)
    ended = take(assembly, [*pieces, Latch(0, 4, crc16(b"abcd"))])
    assert ended == [Settled(0, True)]


def test_the_first_message_begins_a_frame_whatever_came_before():
    assembly = Assembly(ROOM)
    assert shown(take(assembly, [*frame(3)[:2], *frame(3)])) == [(b"\x04" * 12, b"\x04" * 9)]
    assert (assembly.latched, assembly.dropped) == (1, 0)


def test_each_dropped_frame_is_told_by_its_number():
    assembly = Assembly(ROOM)
    ended = take(assembly, [*frame(0)[:-1], frame(1)[-1], frame(2)[-1], *frame(3)])
    assert [(each.frame, each.dropped) for each in ended] == [
        (0, True), (1, True), (2, True), (3, False)
    ]  # fmt: skip
    assert (assembly.latched, assembly.dropped) == (1, 3)
    assert take(assembly, frame(3)[-1:]) == [Settled(3, False)]
    assert take(assembly, [frame(4)[-1], frame(4)[-1]]) == [Settled(4, True)] * 2


# Serial number arithmetic (RFC 1982, 3.2, for 16 bits): less than half the circle ahead is later.
@pytest.mark.parametrize(("ahead", "missing"), [(0x8000, 0x7FFF), (0x8001, 0), (0xFFFF, 0)])
def test_numbers_less_than_half_the_circle_ahead_are_later(ahead, missing):
    assembly = Assembly(ROOM)
    take(assembly, [*frame(40_000), *frame((40_000 + ahead) % 65536, fill=1)])
    assert (assembly.latched, assembly.dropped) == (2, missing)


def test_the_frame_under_way_when_the_leds_go_dark_is_dropped_and_no_other():
    assembly = Assembly(ROOM)
    assembly.spoil()  # nothing is under way
    assert len(shown(take(assembly, frame(0)))) == 1
    take(assembly, frame(1)[:2])
    assembly.spoil()
    assert shown(take(assembly, frame(1)[2:])) == []
    assert len(shown(take(assembly, frame(2)))) == 1
    assert (assembly.latched, assembly.dropped) == (2, 1)


def test_a_new_sender_may_begin_with_any_number():
    assembly = Assembly(ROOM)
    take(assembly, [*frame(5), *frame(6)[:2]])
    assembly.reset()
    take(assembly, frame(1000))
    assert (assembly.latched, assembly.dropped) == (2, 1)


def test_a_latch_come_again_is_answered_again_and_counted_once():
    assembly = Assembly(ROOM)
    take(assembly, frame(3))
    assert take(assembly, frame(3)[-1:]) == [Settled(3, False)]
    take(assembly, frame(4)[1:])
    assert take(assembly, frame(4)[-1:]) == [Settled(4, True)]
    assert (assembly.latched, assembly.dropped) == (1, 1)


def spoiled(data, rng):
    """The stream with bits flipped, bytes lost, stretches cut or doubled."""
    out = bytearray(data)
    for _ in range(rng.randrange(1, 4)):
        if not out:
            break
        at = rng.randrange(len(out))
        kind = rng.randrange(4)
        if kind == 0:
            out[at] ^= 1 << rng.randrange(8)
        elif kind == 1:
            del out[at]
        elif kind == 2:
            del out[at : at + rng.randrange(60)]
        else:
            out[at:at] = out[at : at + rng.randrange(60)]
    return bytes(out)


@given(st.integers(0, 1 << 32))
def test_a_spoiled_frame_is_never_torn_and_costs_no_other(seed):
    rng = random.Random(seed)
    sent = [tuple(rng.randbytes(rng.randrange(n + 1)) for n in ROOM) for _ in range(12)]
    decoder, assembly = Decoder(TO_BOARD), Assembly(ROOM)
    ended, clean = [], set()
    for number, lines in enumerate(sent):
        data = encode_frame(number, list(lines), 5)
        if rng.random() < 0.5:
            data = spoiled(data, rng)
        else:
            clean.add(number)
        ended += take(assembly, decoder.feed(data))
    for each in ended:
        if each.lines is not None:
            assert each.lines == sent[each.frame]
    assert len(shown(ended)) == assembly.latched
    assert clean <= {each.frame for each in ended if each.lines is not None}


numbers = st.sampled_from([0, 1, 2, 0x7FFF, 0x8000, 0xFFFF])
places = st.builds(
    Data, numbers, st.integers(0, 3), st.sampled_from([0, 1, 5, 10]), st.binary(max_size=12)
)
latches = st.builds(Latch, numbers, st.integers(0, 30), st.integers(0, 0xFFFF))


@given(st.lists(st.one_of(places, latches), max_size=40))
def test_any_messages_are_taken_and_frames_fit_the_lines(messages):
    assembly = Assembly(ROOM)
    for lines in shown(take(assembly, messages)):
        assert all(len(line) <= room for line, room in zip(lines, ROOM, strict=True))
