"""Parsing is total: any bytes give a packet, or the reason why they hold none."""

from __future__ import annotations

import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator.errors import OutOfRangeError
from emulator.ports.e131.discard import Discard
from emulator.ports.e131.packet import DataPacket, SyncPacket, parse

CID = bytes(range(16))
GOOD = DataPacket(CID, 7, bytes(range(100)), 3, source_name="wall").encode()
SYNC = SyncPacket(CID, 7, 3).encode()

names = st.text(max_size=63).filter(lambda t: len(t.encode()) <= 63 and "\0" not in t)
packets = st.one_of(
    st.builds(
        DataPacket,
        cid=st.binary(min_size=16, max_size=16),
        universe=st.integers(1, 63999),
        levels=st.binary(max_size=512),
        sequence=st.integers(0, 255),
        priority=st.integers(0, 200),
        source_name=names,
        sync_address=st.integers(0, 63999),
        preview=st.booleans(),
        terminated=st.booleans(),
        force_sync=st.booleans(),
        start_code=st.integers(0, 255),
    ),
    st.builds(
        SyncPacket,
        cid=st.binary(min_size=16, max_size=16),
        address=st.integers(1, 63999),
        sequence=st.integers(0, 255),
    ),
)


@given(packets)
def test_what_is_encoded_is_parsed(packet):
    assert parse(packet.encode()) == packet


@given(st.binary(max_size=700))
def test_any_bytes_are_judged(data):
    assert isinstance(parse(data), Discard)  # 700 drawn bytes hold no packet identifier


@given(packets, st.lists(st.tuples(st.integers(0, 637), st.integers(0, 255)), max_size=4))
def test_damaged_packets_are_judged_and_what_is_read_can_be_sent(packet, damage):
    data = bytearray(packet.encode())
    for place, value in damage:
        data[place % len(data)] = value
    read = parse(bytes(data))
    if isinstance(read, DataPacket) and 1 <= read.universe <= 63999 >= read.sync_address:
        again = DataPacket(read.cid, read.universe, read.levels, read.sequence, read.priority)
        assert len(again.encode()) == len(data)
    else:
        assert isinstance(read, (Discard, SyncPacket, DataPacket))


@given(packets, st.integers(0, 700))
def test_a_cut_or_padded_packet_is_none(packet, size):
    data = packet.encode()
    if size != len(data):
        assert parse(data[:size].ljust(size, b"\0")) in (
            Discard.SHORT,
            Discard.LENGTH,
            Discard.NOT_ACN,
        )


def changed(data: bytes, at: int, text: str) -> bytes:
    new = bytes.fromhex(text)
    return data[:at] + new + data[at + len(new) :]


@pytest.mark.parametrize(
    ("at", "text", "reason"),
    [
        # The clauses of ANSI E1.31-2018 (from memory) under which a receiver discards.
        (0, "00 11", Discard.NOT_ACN),  # 5.1
        (2, "00 01", Discard.NOT_ACN),  # 5.2
        (4, "40", Discard.NOT_ACN),  # 5.3
        (16, "60", Discard.LENGTH),  # 5.4: flags are 7
        (17, "d1", Discard.LENGTH),
        (18, "00 00 00 05", Discard.VECTOR),  # 5.5
        (39, "bb", Discard.LENGTH),  # 6.1
        (40, "00 00 00 03", Discard.VECTOR),  # 6.2.1
        (108, "c9", Discard.PRIORITY),  # 6.2.3: 201
        (116, "6d", Discard.LENGTH),  # 7.1
        (117, "01", Discard.VECTOR),  # 7.2
        (118, "a2", Discard.PROPERTIES),  # 7.3
        (120, "01", Discard.PROPERTIES),  # 7.4
        (122, "02", Discard.PROPERTIES),  # 7.5
        (124, "64", Discard.LENGTH),  # 7.6
    ],
)
def test_a_wrong_field_is_named(at, text, reason):
    assert isinstance(parse(GOOD), DataPacket)
    assert parse(changed(GOOD, at, text)) is reason


@pytest.mark.parametrize(
    ("at", "text", "reason"),
    [
        (17, "20", Discard.LENGTH),
        (39, "0c", Discard.LENGTH),
        (40, "00 00 00 02", Discard.DISCOVERY),  # 6.4
        (40, "00 00 00 03", Discard.VECTOR),
    ],
)
def test_a_wrong_field_of_a_synchronization_packet_is_named(at, text, reason):
    assert parse(changed(SYNC, at, text)) is reason


def test_reserved_octets_are_ignored():
    """ANSI E1.31-2018, 6.3.4."""
    assert parse(changed(SYNC, 47, "12 34")) == SyncPacket(CID, 7, 3)


def test_more_than_512_slots_are_none():
    data = bytearray(DataPacket(CID, 7, bytes(512)).encode() + b"\0")
    for at, layer in ((16, 16), (38, 38), (115, 115)):
        struct.pack_into("!H", data, at, 0x7000 | len(data) - layer)
    struct.pack_into("!H", data, 123, 514)
    assert parse(bytes(data)) is Discard.LENGTH


def test_a_name_that_is_not_utf8_does_not_lose_the_levels():
    packet = parse(changed(GOOD, 44, "ff fe 41 00 42"))
    assert isinstance(packet, DataPacket)
    assert packet.source_name == "\ufffd\ufffdA"
    assert packet.levels == bytes(range(100))


@pytest.mark.parametrize(
    "packet",
    [
        DataPacket(CID, 0, b""),
        DataPacket(CID, 64000, b""),
        DataPacket(CID, 1, bytes(513)),
        DataPacket(CID, 1, b"", priority=201),
        DataPacket(CID, 1, b"", sequence=256),
        DataPacket(CID, 1, b"", start_code=-1),
        DataPacket(CID, 1, b"", sync_address=64000),
        DataPacket(CID, 1, b"", source_name="ü" * 32),
        DataPacket(CID[:15], 1, b""),
        SyncPacket(CID, 0),
        SyncPacket(CID, 1, 256),
    ],
)
def test_what_the_standard_has_no_room_for_is_not_sent(packet):
    with pytest.raises(OutOfRangeError, match="Fix"):
        packet.encode()
