"""The serial protocol: messages to bytes and back. README.md specifies it to the byte.

A message is a type byte, its fields (little-endian) and a CRC-16/IBM-3740 over both, least byte
first. It is COBS-encoded (Cheshire & Baker, IEEE/ACM ToN 7(2), 1999) and ends with a 0 byte, so
that a reader that is out of step finds the next message after the next 0. No message is longer than
254 bytes before encoding: COBS then adds exactly one byte. Coders that follow the paper's own
listing add one more byte, an empty block (01), to a message of 254 bytes without a 0; the decoder
reads that, too.
"""

from __future__ import annotations

import struct
from binascii import crc_hqx
from collections.abc import Iterator
from dataclasses import dataclass
from typing import ClassVar, Self

from cobs import cobs  # type: ignore[import-untyped]

VERSION = 1
MOST_MESSAGE = 254
_MOST_CODED = MOST_MESSAGE + 2  # a code byte, and the empty block that may end a full message
MOST_DATA = 246  # bytes of LED data in a message
MOST_LINE = 0xFFFF  # bytes of a line in a frame: offsets have 16 bits
MOST_LINES = 64  # so that the board's description fits in a message
DEFAULT_HOLD, MOST_HOLD = 100, 0xFFFF  # tenths of a second
CRC_START = 0xFFFF


def crc16(data: bytes | memoryview, crc: int = CRC_START) -> int:
    """CRC-16/IBM-3740: polynomial 0x1021, start 0xFFFF, nothing reflected, no final xor."""
    return crc_hqx(data, crc)


class _Fields:
    """The base of messages with a fixed layout; dataclass fields are in the order of `layout`."""

    type: ClassVar[int]
    layout: ClassVar[struct.Struct]

    def body(self) -> bytes:
        """Type and fields, without the CRC."""
        return bytes([self.type]) + self.layout.pack(*vars(self).values())

    @classmethod
    def parse(cls, fields: bytes) -> Self | None:
        """The message with these fields, without type and CRC; None if they do not fit."""
        return cls(*cls.layout.unpack(fields)) if len(fields) == cls.layout.size else None


@dataclass(frozen=True)
class Hello:
    """To the board: drop the unfinished frame and describe yourself.

    hold: the board goes dark after so long without a message, in tenths of a second; 0: never.
    None: not sent, as by senders that do not know it; the board then uses DEFAULT_HOLD.
    """

    version: int = VERSION
    hold: int | None = None
    type: ClassVar = 0x01

    def body(self) -> bytes:
        """Type and fields, without the CRC."""
        hold = b"" if self.hold is None else self.hold.to_bytes(2, "little")
        return bytes([self.type, self.version]) + hold

    @classmethod
    def parse(cls, fields: bytes) -> Hello | None:
        """The message with these fields; further ones are ignored. None if there are too few."""
        if len(fields) in (0, 2):
            return None
        return cls(fields[0], int.from_bytes(fields[1:3], "little") if len(fields) > 2 else None)


@dataclass(frozen=True)
class Data:
    """To the board: bytes for one line of a frame, in wire order, from `offset` on."""

    frame: int
    line: int
    offset: int
    data: bytes
    type: ClassVar = 0x02
    head: ClassVar = struct.Struct("<HBH")

    def body(self) -> bytes:
        """Type and fields, without the CRC."""
        return bytes([self.type]) + self.head.pack(self.frame, self.line, self.offset) + self.data

    @classmethod
    def parse(cls, fields: bytes) -> Data | None:
        """The message with these fields; None if they are too short."""
        if len(fields) < cls.head.size:
            return None
        frame, line, offset = cls.head.unpack_from(fields)
        return cls(frame, line, offset, fields[cls.head.size :])


@dataclass(frozen=True)
class Latch(_Fields):
    """To the board: show the frame if it is whole. count: its bytes on all lines; crc over them."""

    frame: int
    count: int
    crc: int
    type: ClassVar = 0x03
    layout: ClassVar = struct.Struct("<HIH")


@dataclass(frozen=True)
class Ask(_Fields):
    """To the board: send your state."""

    type: ClassVar = 0x04
    layout: ClassVar = struct.Struct("")


@dataclass(frozen=True)
class Description:
    """From the board: its description. credit: frames it takes beyond the last acknowledged."""

    version: int
    credit: int
    most_data: int
    leds: tuple[int, ...]
    chip: str
    type: ClassVar = 0x81

    def body(self) -> bytes:
        """Type and fields, without the CRC."""
        lines = len(self.leds)
        head = struct.pack("<BBBBB", self.type, self.version, self.credit, self.most_data, lines)
        return head + struct.pack(f"<{lines}H", *self.leds) + self.chip.encode("ascii")

    @classmethod
    def parse(cls, fields: bytes) -> Description | None:
        """The message with these fields; None if they do not fit."""
        if len(fields) < 4 or len(fields) < 4 + 2 * fields[3]:
            return None
        chip = fields[4 + 2 * fields[3] :]
        if not chip.isascii():
            return None
        leds = struct.unpack_from(f"<{fields[3]}H", fields, 4)
        return cls(fields[0], fields[1], fields[2], leds, chip.decode("ascii"))


@dataclass(frozen=True)
class Ack(_Fields):
    """From the board: this frame and all before it are settled; credit as in Description."""

    frame: int
    dropped: int  # 0: the frame is latched, 1: it was not whole
    credit: int
    type: ClassVar = 0x82
    layout: ClassVar = struct.Struct("<HBB")


@dataclass(frozen=True)
class Status(_Fields):
    """From the board: frames latched, frames dropped, and messages that could not be read."""

    latched: int = 0
    dropped: int = 0
    bad: int = 0
    type: ClassVar = 0x83
    layout: ClassVar = struct.Struct("<III")


ToBoard = Hello | Data | Latch | Ask
FromBoard = Description | Ack | Status
Message = ToBoard | FromBoard
TO_BOARD = {kind.type: kind for kind in (Hello, Data, Latch, Ask)}
FROM_BOARD = {kind.type: kind for kind in (Description, Ack, Status)}


def encode(message: Message) -> bytes:
    """The bytes of a message, with the 0 at its end."""
    body = message.body()
    coded: bytes = cobs.encode(body + crc16(body).to_bytes(2, "little"))
    return coded + b"\0"


def frame_messages(
    frame: int, lines: list[bytes], most_data: int = MOST_DATA
) -> Iterator[Data | Latch]:
    """The messages that carry one frame: data line after line, and the latch.

    frame: its number, counted modulo 65536. lines: at most MOST_LINE bytes each. The first
    message is for line 0, offset 0, even where line 0 has no bytes; other empty lines have none.
    """
    crc = CRC_START
    for number, data in enumerate(lines):
        crc = crc16(data, crc)
        for offset in range(0, max(len(data), number == 0), most_data):
            yield Data(frame, number, offset, data[offset : offset + most_data])
    yield Latch(frame, sum(map(len, lines)), crc)


def encode_frame(frame: int, lines: list[bytes], most_data: int = MOST_DATA) -> bytes:
    """The bytes of one frame's messages, as `frame_messages`.

    A 0 comes first, so that damage to the end of the frame before does not affect this one.
    """
    return b"\0" + b"".join(map(encode, frame_messages(frame, lines, most_data)))


class Decoder:
    """Turns bytes, in pieces of any length, into messages.

    bad: how many stretches between two 0 bytes were not a message: not COBS, too long, a wrong
    CRC, or fields that do not fit. Empty stretches and valid messages of other types than `kinds`
    are ignored. It keeps at most one message of bytes.
    """

    def __init__(self, kinds: dict[int, type[ToBoard]] | dict[int, type[FromBoard]]) -> None:
        self._kinds = kinds
        self._held = bytearray()
        self.bad = 0

    def feed(self, data: bytes) -> list[Message]:
        """The messages that these bytes complete."""
        return list(self.one_by_one(data))

    def one_by_one(self, data: bytes) -> Iterator[Message]:
        """As `feed`, but while you handle a message, `bad` counts only what came before it.

        Take all messages before you give the next bytes.
        """
        *ended, rest = data.split(b"\0")
        for piece in ended:
            self._hold(piece)
            message = self._message() if self._held else None
            self._held.clear()
            if message is not None:
                yield message
        self._hold(rest)

    def _hold(self, piece: bytes) -> None:
        """Keep one byte more than a message can have, to know that it is too long."""
        self._held += piece[: _MOST_CODED + 1 - len(self._held)]

    def _message(self) -> Message | None:
        if len(self._held) <= _MOST_CODED:
            try:
                plain: bytes = cobs.decode(bytes(self._held))
            except cobs.DecodeError:
                plain = b""
            if 3 <= len(plain) <= MOST_MESSAGE and crc16(plain[:-2]) == int.from_bytes(
                plain[-2:], "little"
            ):
                kind = self._kinds.get(plain[0])
                if kind is None:
                    return None
                message = kind.parse(plain[1:-2])
                if message is not None:
                    return message
        self.bad += 1
        return None
