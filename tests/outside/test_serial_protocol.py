"""The serial protocol against COBS and CRC as others define them, and against its own page.

`plain_*` are written here from the definitions alone and share nothing with the package.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import emulator
from emulator.ports.serial.protocol import (
    FROM_BOARD,
    TO_BOARD,
    Ack,
    Ask,
    Data,
    Decoder,
    Description,
    Hello,
    Latch,
    Status,
    crc16,
    encode,
)

PAGE = Path(emulator.__file__).parent / "ports/serial/README.md"


def plain_crc(data: bytes) -> int:
    """Bit by bit: polynomial x^16 + x^12 + x^5 + 1, all ones at the start."""
    register = 0xFFFF
    for byte in data:
        for bit in range(7, -1, -1):
            top = register >> 15 ^ (byte >> bit & 1)
            register = (register << 1 & 0xFFFF) ^ (0x1021 if top else 0)
    return register


def plain_cobs(data: bytes) -> bytes:
    """Cheshire & Baker, section II: each block is its length plus one, then bytes other than 0;

    a block of 254 such bytes (code FF) has no 0 after it."""
    coded, block, ended = b"", b"", False
    for byte in data:
        ended = False
        if byte:
            block += bytes([byte])
        if not byte or len(block) == 254:
            coded += bytes([len(block) + 1]) + block
            ended, block = bool(byte), b""
    return coded if ended else coded + bytes([len(block) + 1]) + block


def listed_cobs(data: bytes) -> bytes:
    """As the paper's listing goes (from memory): it finishes a block at each 0 and when it is

    full, and once more at the end, so that after a last full block an empty one (01) follows."""
    coded, block = b"", b""
    for byte in data:
        if byte:
            block += bytes([byte])
        if not byte or len(block) == 254:
            coded, block = coded + bytes([len(block) + 1]) + block, b""
    return coded + bytes([len(block) + 1]) + block


def plain_message(body: bytes) -> bytes:
    return plain_cobs(body + plain_crc(body).to_bytes(2, "little")) + b"\0"


def test_the_check_value_of_the_crc():
    # CRC-16/IBM-3740 in the catalogue of CRC algorithms: check value of "123456789" (reference.md)
    assert crc16(b"123456789") == plain_crc(b"123456789") == 0x29B1


def test_worked_examples_of_cobs():
    # Widely printed examples of the method (from memory); they test the test's own coder too.
    assert plain_cobs(b"\x00") == b"\x01\x01"
    assert plain_cobs(b"\x11\x22\x00\x33") == b"\x03\x11\x22\x02\x33"
    assert plain_cobs(b"\x11\x00\x00\x00") == b"\x02\x11\x01\x01\x01"
    assert plain_cobs(bytes(range(1, 255))) == b"\xff" + bytes(range(1, 255))
    assert plain_cobs(bytes(255)) == b"\x01" * 256


VECTORS = {
    "hello, version 1": Hello(1),
    "hello, version 1, hold 10 s": Hello(1, 100),
    "bytes ff 80 00 00 40 20": Data(7, 0, 0, bytes.fromhex("ff8000004020")),
    "latch, frame 7, 6 bytes, CRC 51d1": Latch(7, 6, 0x51D1),
    "ask": Ask(),
    '1 line of 2 LEDs, "WS2812B"': Description(1, 1, 246, (2,), "WS2812B"),
    "acknowledgement, frame 7 latched, 1": Ack(7, 0, 1),
    "status, 1 latched, none dropped or bad": Status(1, 0, 0),
}


@pytest.mark.parametrize("words", VECTORS)
def test_the_vectors_of_the_page(words):
    line = re.search(rf"^ +{re.escape(words)} +((?:[0-9a-f]{{2}} ?)+)$", PAGE.read_text(), re.M)
    assert line is not None, "not on the page"
    data = bytes.fromhex(line[1])
    assert encode(VECTORS[words]) == data
    kinds = TO_BOARD if isinstance(VECTORS[words], (Hello, Data, Latch, Ask)) else FROM_BOARD
    assert Decoder(kinds).feed(data) == [VECTORS[words]]


FULL = Data(0x0107, 1, 0x01EC, b"\xff" * 246)  # 254 bytes in all, none of them 0


@pytest.mark.parametrize("closing", ["00", "01 00"])
def test_the_vector_of_a_last_full_block_in_both_forms(closing):
    begin, most, crc, last = re.search(
        r"^ +246 times ff +([0-9a-f ]+), (\d+) × ff, ([0-9a-f ]+), (00 or 01 00)$",
        PAGE.read_text(),
        re.M,
    ).groups()
    assert closing in last.split(" or ")
    data = bytes.fromhex(begin) + b"\xff" * int(most) + bytes.fromhex(crc + closing)
    coder = {"00": plain_cobs, "01 00": listed_cobs}[closing]
    body = FULL.body()
    assert data == coder(body + plain_crc(body).to_bytes(2, "little")) + b"\0"
    decoder = Decoder(TO_BOARD)
    assert (decoder.feed(data), decoder.bad) == ([FULL], 0)
    assert (encode(FULL) == data) == (closing == "00"), "the form without 01 is sent"


def test_the_latch_vector_has_the_crc_of_the_data_vector():
    assert plain_crc(bytes.fromhex("ff8000004020")) == 0x51D1


u8, u16, u32 = (st.integers(0, (1 << bits) - 1) for bits in (8, 16, 32))


@given(u8, u16)
def test_a_hello_to_the_byte(version, hold):
    assert encode(Hello(version)) == plain_message(bytes([1, version]))
    data = plain_message(bytes([1, version]) + hold.to_bytes(2, "little"))
    assert encode(Hello(version, hold)) == data
    assert Decoder(TO_BOARD).feed(data) == [Hello(version, hold)]


@given(u16, u8, u16, st.binary(max_size=246))
def test_a_data_message_to_the_byte(frame, line, offset, data):
    body = b"\x02" + frame.to_bytes(2, "little") + bytes([line]) + offset.to_bytes(2, "little")
    assert encode(Data(frame, line, offset, data)) == plain_message(body + data)


@given(st.sampled_from((0, 0x0101)), st.integers(244, 248), st.sampled_from((b"\xff", b"\xff\0")))
def test_what_the_listing_codes_is_read_up_to_the_longest_message(frame, count, pattern):
    data = (pattern * count)[:count]
    message = Data(frame, 1, 0x0101, data)
    body = message.body()
    decoder = Decoder(TO_BOARD)
    coded = listed_cobs(body + plain_crc(body).to_bytes(2, "little")) + b"\0"
    assert decoder.feed(coded) == [message] * (len(data) <= 246)
    assert decoder.bad == (len(data) > 246)


@given(u16, u32, u16)
def test_a_latch_message_to_the_byte(frame, count, crc):
    fields = frame.to_bytes(2, "little") + count.to_bytes(4, "little") + crc.to_bytes(2, "little")
    assert encode(Latch(frame, count, crc)) == plain_message(b"\x03" + fields)
    assert Decoder(TO_BOARD).feed(plain_message(b"\x03" + fields)) == [Latch(frame, count, crc)]


@given(st.lists(u16, min_size=1, max_size=64), u8, u8)
def test_a_description_to_the_byte(leds, credit, most):
    fields = bytes([1, credit, most, len(leds)]) + b"".join(n.to_bytes(2, "little") for n in leds)
    board = Description(1, credit, most, tuple(leds), "SK6812-RGBW")
    assert encode(board) == plain_message(b"\x81" + fields + b"SK6812-RGBW")
    assert Decoder(FROM_BOARD).feed(encode(board)) == [board]
