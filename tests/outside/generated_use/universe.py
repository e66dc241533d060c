"""E1.31 packets of our own, and a receiver that notes what comes.

Written from ANSI E1.31-2018, clauses 4 to 6 and table 4-1 (from memory of the standard), sharing
nothing with `emulator.ports.e131`.
"""

from __future__ import annotations

import itertools
import socket
import struct
import threading
import time
from dataclasses import dataclass

ACN = b"ASC-E1.17\0\0\0"
PREVIEW, TERMINATED, FORCE = 0x80, 0x40, 0x20


def _flags(length: int) -> bytes:
    return struct.pack("!H", 0x7000 | length)


def _root(vector: int, cid: bytes, inner: bytes) -> bytes:
    return b"\0\x10\0\0" + ACN + _flags(22 + len(inner)) + struct.pack("!I", vector) + cid + inner


def data_packet(
    levels: bytes, universe: int, *, cid: bytes, sequence: int, priority: int = 100, sync: int = 0,
    options: int = 0, start: int = 0, name: bytes = b"source",
) -> bytes:  # fmt: skip
    """A data packet (6.2): up to 512 levels of one universe."""
    count = len(levels) + 1
    dmp = _flags(10 + count) + b"\x02\xa1\0\0\0\x01" + struct.pack("!HB", count, start) + levels
    framing = struct.pack("!I64sBHBBH", 2, name, priority, sync, sequence & 255, options, universe)
    return _root(4, cid, _flags(2 + len(framing) + len(dmp)) + framing + dmp)


def sync_packet(address: int, *, cid: bytes, sequence: int) -> bytes:
    """A synchronization packet (6.3)."""
    framing = struct.pack("!IBHH", 1, sequence & 255, address, 0)
    return _root(8, cid, _flags(2 + len(framing)) + framing)


@dataclass(frozen=True)
class Heard:
    """A data packet that came, and when."""

    at_s: float
    universe: int
    options: int
    priority: int
    start: int
    name: bytes
    levels: bytes


class Receiver:
    """Notes all data packets that reach a port of its own on loopback."""

    def __init__(self) -> None:
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1 << 20)
        self._socket.bind(("127.0.0.1", 0))
        self._socket.settimeout(0.1)
        self.port: int = self._socket.getsockname()[1]
        self.heard: list[Heard] = []
        self._over = False
        self._thread = threading.Thread(target=self._listen, daemon=True)
        self._thread.start()

    @property
    def address(self) -> str:
        return f"e131://127.0.0.1:{self.port}"

    def _listen(self) -> None:
        while not self._over:
            try:
                packet = self._socket.recv(2048)
            except TimeoutError:
                continue
            if len(packet) < 126 or packet[4:16] != ACN or packet[18:22] != b"\0\0\0\x04":
                continue
            self.heard.append(
                Heard(
                    time.monotonic(),
                    int.from_bytes(packet[113:115], "big"),
                    packet[112],
                    packet[108],
                    packet[125],
                    packet[44:108].rstrip(b"\0"),
                    packet[126:],
                )
            )

    def levels(self, count: int) -> dict[int, bytes]:
        """The first `count` levels of each universe, as they came last."""
        last = {h.universe: h.levels[:count] for h in list(self.heard) if h.start == 0}
        return dict(sorted(last.items()))

    @property
    def dark(self) -> bool:
        """Whether what came last of each universe is all zero."""
        return all(not any(levels) for levels in self.levels(512).values())

    def longest_silence_s(self) -> float:
        """Between two packets."""
        times = [h.at_s for h in self.heard]
        return max((b - a for a, b in itertools.pairwise(times)), default=0)

    def close(self) -> None:
        self._over = True
        self._thread.join(2)
        self._socket.close()

    def __enter__(self) -> Receiver:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()
