"""Puts frames together from the serial protocol's messages: whole, or not at all."""

from __future__ import annotations

from dataclasses import dataclass

from emulator.ports.serial.protocol import CRC_START, Data, Latch, crc16

_HALF = 0x8000  # frame numbers ahead by less than this are later, as in serial number arithmetic


@dataclass(frozen=True)
class Settled:
    """The end of one frame: its number, whether it was dropped, and the bytes of each line.

    lines: None if it was dropped, or if its latch came again and there is nothing new.
    """

    frame: int
    dropped: bool
    lines: tuple[bytes, ...] | None = None


class Assembly:
    """The receiver's state machine; the C receiver in ports/serial/receiver has the same.

    A frame begins with the data for line 0, offset 0, whatever came before. It is whole if every
    byte came once and in order, and the latch's count and CRC agree. A frame that is not whole is
    dropped and counted, also one of which nothing came: the next frame's number shows that.

    line_bytes: how many bytes each line has. latched, dropped: counts of frames.
    """

    def __init__(self, line_bytes: tuple[int, ...]) -> None:
        self._room = line_bytes
        self.latched = 0
        self.dropped = 0
        self._last: int | None = None  # number of the frame settled last
        self._last_dropped = False
        self._open: int | None = None  # number of the unfinished frame
        self._clear()

    def reset(self) -> None:
        """A sender starts again: drop the unfinished frame, and expect any frame number."""
        if self._open is not None:
            self._drop(self._open)
        self._last = None

    def spoil(self) -> None:
        """Drop the unfinished frame, if there is one: the LEDs have gone dark."""
        self._spoiled = True

    def data(self, message: Data) -> list[Settled]:
        """Take a piece of a frame; returns the frame before it if this ends it."""
        ended: list[Settled] = []
        begins = message.line == 0 and message.offset == 0
        if self._open is not None and self._open != message.frame:
            ended.append(self._drop(self._open))
        if begins or self._open is None:
            if not begins and message.frame == self._last:
                return ended  # a late repetition
            if self._open is None:
                self._count_missing(message.frame)
            self._clear()
            self._open, self._spoiled = message.frame, not begins
        self._add(message)
        return ended

    def latch(self, message: Latch) -> list[Settled]:
        """Settle a frame; returns it, after the frame before it if that had not been settled."""
        ended: list[Settled] = []
        if self._open is not None and self._open != message.frame:
            ended.append(self._drop(self._open))
        if self._open is None:
            if message.frame == self._last:
                return [*ended, Settled(message.frame, self._last_dropped)]
            self._count_missing(message.frame)
            return [*ended, self._drop(message.frame)]
        whole = not self._spoiled and (self._count, self._crc) == (message.count, message.crc)
        if not whole:
            return [*ended, self._drop(message.frame)]
        self.latched += 1
        self._settle(message.frame, dropped=False)
        return [*ended, Settled(message.frame, False, tuple(map(bytes, self._lines)))]

    def _clear(self) -> None:
        self._lines = [bytearray() for _ in self._room]
        self._line = self._count = 0
        self._crc = CRC_START
        self._spoiled = False

    def _add(self, message: Data) -> None:
        line, data = message.line, message.data
        in_order = line >= self._line and line < len(self._room)
        if in_order and message.offset == len(self._lines[line]):
            self._line = line
            if message.offset + len(data) <= self._room[line]:
                self._lines[line] += data
                self._count += len(data)
                self._crc = crc16(data, self._crc)
                return
        self._spoiled = True

    def _count_missing(self, frame: int) -> None:
        """Count the frames between the last settled one and this one: nothing of them came."""
        if self._last is not None:
            missing = (frame - self._last - 1) & 0xFFFF
            if missing < _HALF:
                self.dropped += missing

    def _drop(self, frame: int) -> Settled:
        self.dropped += 1
        self._settle(frame, dropped=True)
        return Settled(frame, True)

    def _settle(self, frame: int, *, dropped: bool) -> None:
        self._open, self._last, self._last_dropped = None, frame, dropped
