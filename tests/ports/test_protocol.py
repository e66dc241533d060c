"""The serial protocol's messages: any bytes give messages or a count of bad ones."""

from __future__ import annotations

import random
import tracemalloc

import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator.ports.serial.protocol import (
    FROM_BOARD,
    MOST_DATA,
    MOST_MESSAGE,
    TO_BOARD,
    Ack,
    Ask,
    Data,
    Decoder,
    Description,
    Hello,
    Latch,
    Status,
    encode,
    frame_messages,
)

u8, u16, u32 = (st.integers(0, (1 << bits) - 1) for bits in (8, 16, 32))
to_board = st.one_of(
    st.builds(Hello, u8, st.none() | u16),
    st.builds(Data, u16, u8, u16, st.binary(max_size=MOST_DATA)),
    st.builds(Latch, u16, u32, u16),
    st.just(Ask()),
)
from_board = st.one_of(
    st.builds(
        Description,
        u8,
        u8,
        u8,
        st.lists(u16, max_size=64).map(tuple),
        st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=20),
    ),
    st.builds(Ack, u16, u8, u8),
    st.builds(Status, u32, u32, u32),
)


@given(st.lists(to_board, max_size=6), st.lists(from_board, max_size=6), st.data())
def test_what_is_encoded_comes_out_in_pieces_of_any_length(up, down, data):
    for messages, kinds in ((up, TO_BOARD), (down, FROM_BOARD)):
        stream = b"".join(map(encode, messages))
        cuts = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=5)))
        decoder = Decoder(kinds)
        found = []
        for a, b in zip([0, *cuts], [*cuts, len(stream)], strict=True):
            found += decoder.feed(stream[a:b])
        assert found == messages
        assert decoder.bad == 0


@given(to_board)
def test_a_message_has_one_zero_at_its_end_and_is_short(message):
    data = encode(message)
    assert data.index(0) == len(data) - 1
    assert len(data) <= MOST_MESSAGE + 2


@given(st.lists(st.binary(max_size=600), max_size=8))
def test_any_bytes_are_read(pieces):
    for kinds in (TO_BOARD, FROM_BOARD):
        decoder = Decoder(kinds)
        found = [message for piece in pieces for message in decoder.feed(piece)]
        stretches = [s for s in b"".join(pieces).split(b"\0")[:-1] if s]
        assert len(found) + decoder.bad <= len(stretches)
        decoder.feed(b"\0")
        before = decoder.bad
        assert decoder.feed(encode(Hello(1)))[:1] == ([Hello(1)] if kinds is TO_BOARD else [])
        assert decoder.bad == before, "after any garbage, the next 0 puts it right"


@given(to_board, st.data())
def test_a_flipped_bit_makes_a_message_bad_and_the_next_is_read(message, data):
    coded = bytearray(encode(message))
    bit = data.draw(st.integers(0, 8 * (len(coded) - 1) - 1))  # not in the closing 0
    coded[bit // 8] ^= 1 << bit % 8
    decoder = Decoder(TO_BOARD)
    # COBS may turn one flipped bit into other lengths, which a CRC of 16 bits misses once in
    # 65,536; the examples are the same on every run, and none of these is one.
    assert decoder.feed(bytes(coded)) == []
    assert decoder.feed(encode(Ask())) == [Ask()]
    assert decoder.bad >= 1


@pytest.mark.parametrize(
    "body",
    [b"\x01", b"\x01\x01\x01", b"\x02\x00\x00\x00\x00", b"\x03" + bytes(7), b"\x04\x00", b""],
    ids=lambda body: body.hex() or "empty",
)
def test_fields_that_do_not_fit_are_bad(body):
    class Raw(Ask):
        def body(self):
            return body

    decoder = Decoder(TO_BOARD)
    assert decoder.feed(encode(Raw())) == []
    assert decoder.bad == 1


def test_other_types_are_passed_over_and_not_counted():
    decoder = Decoder(TO_BOARD)
    assert decoder.feed(encode(Ack(1, 0, 2)) + encode(Hello())) == [Hello()]
    assert decoder.bad == 0


def test_a_stretch_without_end_is_one_bad_message_and_takes_no_memory():
    decoder = Decoder(TO_BOARD)
    piece = b"\x55" * 65536
    decoder.feed(piece)
    tracemalloc.start()
    try:
        for _ in range(100):
            decoder.feed(piece)
        held, _ = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert held < 20_000
    assert decoder.feed(b"\0" + encode(Ask())) == [Ask()]
    assert decoder.bad == 1


@pytest.mark.parametrize("chunks", [2_000, pytest.param(1_000_000, marks=pytest.mark.slow)])
def test_random_chunks_are_all_counted(chunks):
    rng = random.Random(5)
    decoder = Decoder(TO_BOARD)
    stretches = messages = 0
    inside = False  # something stands since the last 0
    for _ in range(chunks):
        piece = rng.randbytes(rng.randrange(40))
        for part in piece.split(b"\0")[:-1]:
            stretches += inside or bool(part)
            inside = False
        inside = inside or bool(piece.split(b"\0")[-1])
        messages += len(decoder.feed(piece))
    assert decoder.bad + messages == pytest.approx(stretches, abs=chunks / 20_000)


def test_a_frame_is_data_line_after_line_and_a_latch():
    lines = [b"", bytes(500), b"\1"]
    messages = list(frame_messages(9, lines))
    places = [(m.line, m.offset, len(m.data)) for m in messages[:-1]]
    assert places == [(0, 0, 0), (1, 0, 246), (1, 246, 246), (1, 492, 8), (2, 0, 1)]
    assert messages[-1].count == 501
    assert {m.frame for m in messages} == {9}
