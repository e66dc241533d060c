"""A board, and a sender, of the serial protocol as DEVELOPERS.md describes it; nothing else shared.

COBS: Cheshire and Baker, IEEE/ACM ToN 7(2), 1999. CRC-16/IBM-3740, bit by bit.
"""

from __future__ import annotations

import contextlib
import os
import pty
import select
import threading
import time
import tty
from pathlib import Path

HELLO, DATA, LATCH, ASK, DESCRIPTION, ACKNOWLEDGED = 1, 2, 3, 4, 0x81, 0x82


def crc(data: bytes) -> int:
    value = 0xFFFF
    for byte in data:
        value ^= byte << 8
        for _ in range(8):
            value = (value << 1 ^ (0x1021 if value & 0x8000 else 0)) & 0xFFFF
    return value


def message(kind: int, fields: bytes) -> bytes:
    """A message on the link, with the 0 that ends it."""
    plain = bytes([kind]) + fields
    plain += crc(plain).to_bytes(2, "little")
    return b"".join(bytes([len(part) + 1]) + part for part in plain.split(b"\0")) + b"\0"


def unpacked(stretch: bytes) -> tuple[int, bytes] | None:
    """(type, fields) of what stood between two zeros; None if it is not a message."""
    plain = b""
    while stretch:
        length, stretch = stretch[0], stretch[1:]
        if len(stretch) < length - 1:
            return None
        plain, stretch = plain + stretch[: length - 1], stretch[length - 1 :]
        if stretch and length < 255:
            plain += b"\0"
    if len(plain) < 3 or crc(plain[:-2]) != int.from_bytes(plain[-2:], "little"):
        return None
    return plain[0], plain[1:-2]


def frame(number: int, levels: bytes) -> bytes:
    """One frame of one line: data messages and the latch."""
    head = (number & 0xFFFF).to_bytes(2, "little")
    parts = [
        message(DATA, head + b"\0" + at.to_bytes(2, "little") + levels[at : at + 240])
        for at in range(0, len(levels), 240)
    ]
    check = crc(levels).to_bytes(2, "little")
    return (
        b"\0" + b"".join(parts) + message(LATCH, head + len(levels).to_bytes(4, "little") + check)
    )


class Board:
    """A pseudo-terminal under a name, with a board behind it that acknowledges all frames."""

    def __init__(self, link: Path, leds: int, chip: bytes = b"WS2812B", mute: bool = False) -> None:
        self.link, self.latched, self.holds = link, 0, []
        self._answer = (
            b"\x01\x02\xf6\x01" + leds.to_bytes(2, "little") + chip  # version, credit, data, lines
        )
        self._mute = mute
        self._there, away = pty.openpty()
        tty.setraw(away)
        link.unlink(missing_ok=True)
        link.symlink_to(os.ttyname(away))
        os.close(away)
        self._over = False
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def _serve(self) -> None:
        rest = b""
        while not self._over:
            if self._mute or not select.select([self._there], [], [], 0.05)[0]:
                time.sleep(0.02)
                continue
            try:
                rest += os.read(self._there, 65536)
            except OSError:  # nobody has it open
                time.sleep(0.02)
                continue
            *whole, rest = rest.split(b"\0")
            for stretch in whole:
                self._take(unpacked(stretch))

    def _take(self, got: tuple[int, bytes] | None) -> None:
        if not got:
            return
        kind, fields = got
        if kind == HELLO:
            self.holds.append(fields[1:])
            self._send(message(DESCRIPTION, self._answer))
        elif kind == LATCH:
            self.latched += 1
            self._send(message(ACKNOWLEDGED, fields[:2] + b"\0\x02"))

    def _send(self, data: bytes) -> None:
        with contextlib.suppress(OSError):
            os.write(self._there, data)

    def deaf(self, says: bytes) -> None:
        """It stops reading; before that it says something."""
        self._mute = True
        self._send(says)

    def vanish(self) -> None:
        """Like a cable that is pulled out."""
        if not self._over:
            self._over = True
            self._thread.join(2)
            os.close(self._there)
            self.link.unlink(missing_ok=True)
