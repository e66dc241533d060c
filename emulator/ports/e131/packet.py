"""The packets of ANSI E1.31-2018, to the byte: data, universe synchronization and discovery.

Layouts are tables 4-1 (data), 4-2 (synchronization) and 4-3 (discovery); all numbers are sent
high byte first.
`parse` never raises: any bytes give a packet, or the reason why they are not a packet.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

from emulator.errors import OutOfRangeError
from emulator.ports.e131.discard import Discard

PORT = 5568  # ACN_SDT_MULTICAST_PORT, appendix A
MOST_UNIVERSE = 63_999  # 6.2.7
MOST_PRIORITY = 200  # 6.2.3
SLOTS = 512  # of one universe, 7.6
NAME_BYTES = 63  # of a source's name, before a null, 6.2.2
LOSS_NS = 2_500_000_000  # E131_NETWORK_DATA_LOSS_TIMEOUT, appendix A
ENDS = 3  # how often the end of a stream is sent, 6.2.6
DISCOVERY_UNIVERSE = 64_214  # E131_DISCOVERY_UNIVERSE, appendix A
DISCOVERY_NS = 10_000_000_000  # E131_UNIVERSE_DISCOVERY_INTERVAL, appendix A
LISTED = 512  # universes in one discovery packet, 8.5

# Root layer, up to where the other layers begin: preamble size, post-amble size, packet
# identifier, flags and length, vector, CID.
_ROOT = struct.Struct("!HH12sHI16s")
# Framing layer: flags and length, vector, source name, priority, synchronization address,
# sequence number, options, universe. DMP layer: flags and length, vector, address and data type,
# first property address, address increment, property value count, start code.
_DATA = struct.Struct("!HI64sBHBBH HBBHHHB")
# Framing layer: flags and length, vector, sequence number, synchronization address, reserved.
_SYNC = struct.Struct("!HIBHH")
# Framing layer: flags and length, vector, source name, reserved. Universe discovery layer: flags
# and length, vector, page, last page.
_DISCOVERY = struct.Struct("!HI64s4x HIBB")

_PREAMBLE = (0x0010, 0x0000, b"ASC-E1.17\0\0\0")  # 5.1 to 5.3
_FLAGS = 0x7000  # above the 12 bits of each length, 5.4
_ROOT_DATA, _ROOT_EXTENDED = 0x00000004, 0x00000008  # appendix A
_FRAMING_DATA, _FRAMING_SYNC, _FRAMING_DISCOVERY = 0x00000002, 0x00000001, 0x00000002
_UNIVERSE_LIST = 0x00000001  # 8.2
_SET_PROPERTY = 0x02  # 7.2
_PROPERTIES = (0xA1, 0x0000, 0x0001)  # 7.3 to 7.5
_PREVIEW, _TERMINATED, _FORCE_SYNC = 0x80, 0x40, 0x20  # 6.2.6

_FRAMING_AT = _ROOT.size
_DMP_AT = _FRAMING_AT + 77
DATA_BYTES = _FRAMING_AT + _DATA.size  # of a data packet without slots
SYNC_BYTES = _FRAMING_AT + _SYNC.size
_LIST_AT = _FRAMING_AT + 74
_START_CODE_AT = DATA_BYTES - 1
SEQUENCE_AT = 111  # of a data packet, table 4-1


@dataclass(frozen=True, slots=True)
class DataPacket:
    """Levels for one universe (table 4-1).

    cid: 16 bytes that name the source. universe: 1 to 63999. levels: up to 512 bytes, slot 1
    first. priority: 0 to 200, the highest wins. sync_address: the universe whose synchronization
    packet releases the levels; 0: at once. preview: not for live output. terminated: the source
    ends its stream. force_sync: without synchronization packets, continue unsynchronized.
    """

    cid: bytes
    universe: int
    levels: bytes
    sequence: int = 0
    priority: int = 100
    source_name: str = ""
    sync_address: int = 0
    preview: bool = False
    terminated: bool = False
    force_sync: bool = False
    start_code: int = 0

    def encode(self) -> bytes:
        """The UDP payload, 126 to 638 bytes. Raises OutOfRangeError."""
        name = self.source_name.encode()
        _judge("bytes in a source name", len(name), 0, NAME_BYTES)
        _judge("universe", self.universe, 1, MOST_UNIVERSE)
        _judge("priority", self.priority, 0, MOST_PRIORITY)
        _judge("synchronization address", self.sync_address, 0, MOST_UNIVERSE)
        _judge("number of slots", len(self.levels), 0, SLOTS)
        options = _PREVIEW * self.preview | _TERMINATED * self.terminated
        options |= _FORCE_SYNC * self.force_sync
        end = DATA_BYTES + len(self.levels)
        head = _DATA.pack(
            _FLAGS | end - _FRAMING_AT,
            _FRAMING_DATA,
            name,
            self.priority,
            self.sync_address,
            _byte("sequence number", self.sequence),
            options,
            self.universe,
            _FLAGS | end - _DMP_AT,
            _SET_PROPERTY,
            *_PROPERTIES,
            1 + len(self.levels),
            _byte("start code", self.start_code),
        )
        return _root(_ROOT_DATA, self.cid, end) + head + self.levels


@dataclass(frozen=True, slots=True)
class SyncPacket:
    """Releases the levels that wait for its address (table 4-2)."""

    cid: bytes
    address: int
    sequence: int = 0

    def encode(self) -> bytes:
        """The UDP payload, 49 bytes. Raises OutOfRangeError."""
        _judge("synchronization address", self.address, 1, MOST_UNIVERSE)
        sequence = _byte("sequence number", self.sequence)
        body = _SYNC.pack(_FLAGS | _SYNC.size, _FRAMING_SYNC, sequence, self.address, 0)
        return _root(_ROOT_EXTENDED, self.cid, SYNC_BYTES) + body


@dataclass(frozen=True, slots=True)
class DiscoveryPacket:
    """Announces the universes of a source (table 4-3), with those of synchronization.

    universes: rising, at most 512. page, last_page: if one packet is not enough for all.
    """

    cid: bytes
    source_name: str
    universes: tuple[int, ...]
    page: int = 0
    last_page: int = 0

    def encode(self) -> bytes:
        """The UDP payload, 120 to 1144 bytes. Raises OutOfRangeError."""
        name = self.source_name.encode()
        _judge("bytes in a source name", len(name), 0, NAME_BYTES)
        _judge("number of universes", len(self.universes), 0, LISTED)
        end = _FRAMING_AT + _DISCOVERY.size + 2 * len(self.universes)
        head = _DISCOVERY.pack(
            _FLAGS | end - _FRAMING_AT,
            _FRAMING_DISCOVERY,
            name,
            _FLAGS | end - _LIST_AT,
            _UNIVERSE_LIST,
            _byte("page", self.page),
            _byte("last page", self.last_page),
        )
        return (
            _root(_ROOT_EXTENDED, self.cid, end)
            + head
            + struct.pack(f"!{len(self.universes)}H", *self.universes)
        )


def parse(datagram: bytes) -> DataPacket | SyncPacket | Discard:
    """The packet in a UDP payload, or why there is none. Never raises.

    In a source name that is not UTF-8, marks replace the wrong bytes. The receiver decides whether
    it uses a packet (universe, start code, sequence …).
    """
    if len(datagram) < _ROOT.size + 6:
        return Discard.SHORT
    *preamble, length, vector, cid = _ROOT.unpack_from(datagram)
    if tuple(preamble) != _PREAMBLE:
        return Discard.NOT_ACN
    if length != _FLAGS | len(datagram) - 16:
        return Discard.LENGTH
    if vector == _ROOT_DATA:
        return _parse_data(datagram, cid)
    if vector != _ROOT_EXTENDED:
        return Discard.VECTOR
    _, framing = struct.unpack_from("!HI", datagram, _FRAMING_AT)
    if framing == _FRAMING_DISCOVERY:
        return Discard.DISCOVERY
    if framing != _FRAMING_SYNC:
        return Discard.VECTOR
    if len(datagram) != SYNC_BYTES:
        return Discard.LENGTH
    length, _, sequence, address, _ = _SYNC.unpack_from(datagram, _FRAMING_AT)
    if length != _FLAGS | _SYNC.size:
        return Discard.LENGTH
    return SyncPacket(cid, address, sequence)


def _parse_data(datagram: bytes, cid: bytes) -> DataPacket | Discard:
    if len(datagram) < DATA_BYTES:
        return Discard.SHORT
    (
        framing_length,
        framing_vector,
        name,
        priority,
        sync_address,
        sequence,
        options,
        universe,
        dmp_length,
        dmp_vector,
        *properties,
        count,
        start_code,
    ) = _DATA.unpack_from(datagram, _FRAMING_AT)
    if framing_vector != _FRAMING_DATA or dmp_vector != _SET_PROPERTY:
        return Discard.VECTOR
    size = len(datagram)
    lengths = framing_length, dmp_length, count
    if lengths != (_FLAGS | size - _FRAMING_AT, _FLAGS | size - _DMP_AT, size - _START_CODE_AT):
        return Discard.LENGTH
    if count > 1 + SLOTS:
        return Discard.LENGTH
    if tuple(properties) != _PROPERTIES:
        return Discard.PROPERTIES
    if priority > MOST_PRIORITY:
        return Discard.PRIORITY
    return DataPacket(
        cid,
        universe,
        bytes(datagram[DATA_BYTES:]),
        sequence,
        priority,
        name.partition(b"\0")[0].decode(errors="replace"),
        sync_address,
        bool(options & _PREVIEW),
        bool(options & _TERMINATED),
        bool(options & _FORCE_SYNC),
        start_code,
    )


def _root(vector: int, cid: bytes, size: int) -> bytes:
    _judge("number of bytes in a CID", len(cid), 16, 16)
    return _ROOT.pack(*_PREAMBLE, _FLAGS | size - 16, vector, cid)


def _byte(what: str, value: int) -> int:
    _judge(what, value, 0, 255)
    return value


def _judge(what: str, value: int, least: int, most: int) -> None:
    if not least <= value <= most:
        raise OutOfRangeError(
            f"an E1.31 packet with {what} {value}", fix=f"give {least} to {most}."
        )
