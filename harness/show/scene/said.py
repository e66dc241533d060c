"""Passes what a running scene prints to the log of the show: at most 20 lines a minute."""

from __future__ import annotations

import logging
import threading
from collections.abc import Iterable

from emulator.clock import SECOND_NS, Clock

MOST_LINES, MINUTE_NS = 20, 60 * SECOND_NS
MOST_BYTES = 1000  # of a line; the rest is cut off

_log = logging.getLogger("foreglow.show")


class Said:
    """Tells the lines of a scene to the log `foreglow.show`, at most 20 in a minute.

    What comes beyond is counted, and told as 'N lines left out' once the minute is over, or at the
    end of the scene's process. One for all starts of a scene; threads may share it.

    name: written before each line.
    """

    def __init__(self, name: str, clock: Clock) -> None:
        self._name, self._clock = name, clock
        self._lock = threading.Lock()
        self._begin_ns: int | None = None  # of the current minute
        self._told = self._left_out = 0

    def take(self, lines: Iterable[bytes] = (), more: int = 0) -> None:
        """Take lines that have come, and how many more. Without lines, log what is due."""
        with self._lock:
            now_ns = self._clock.now_ns()
            if self._begin_ns is not None and now_ns - self._begin_ns >= MINUTE_NS:
                self._sum_up()
                self._begin_ns, self._told = None, 0
            for line in filter(bytes.strip, lines):
                if self._begin_ns is None:
                    self._begin_ns = now_ns
                if self._told == MOST_LINES:
                    self._left_out += 1
                else:
                    self._told += 1
                    _log.info("%s: %s", self._name, _readable(line))
            self._left_out += more

    def end(self) -> None:
        """A process of the scene has ended."""
        with self._lock:
            self._sum_up()

    def _sum_up(self) -> None:
        if self._left_out:
            _log.info("%s: %d lines left out", self._name, self._left_out)
        self._left_out = 0


class Lines:
    """Cuts data from a pipe into lines, in bounded memory."""

    def __init__(self) -> None:
        self._rest = b""

    def feed(self, data: bytes) -> tuple[list[bytes], int]:
        """The first 20 lines that are complete, and how many more there are."""
        whole, end, rest = (self._rest + data).rpartition(b"\n")
        self._rest = rest[: MOST_BYTES + 1]
        if not end:
            return [], 0
        lines = whole.split(b"\n", MOST_LINES)  # not all: there may be millions
        return lines[:MOST_LINES], sum(more.count(b"\n") + 1 for more in lines[MOST_LINES:])

    def rest(self) -> bytes:
        """What has come since the last complete line."""
        return self._rest


def _readable(line: bytes) -> str:
    """As text; only printable characters reach a terminal."""
    cut = line[:MOST_BYTES].decode(errors="replace").strip() + "…" * (len(line) > MOST_BYTES)
    return "".join(letter if letter.isprintable() else " " for letter in cut)
