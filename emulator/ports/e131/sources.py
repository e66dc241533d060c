"""The sources that send to one universe: which are alive, and which one is heard."""

from __future__ import annotations

from dataclasses import dataclass

from emulator.ports.e131.discard import Discard
from emulator.ports.e131.packet import LOSS_NS

MOST_SOURCES = 16  # remembered for a universe, to bound memory; our choice (6.2.3.3 allows any)
_LATE = 20  # a source whose number is so much lower or more has started again, 6.7.2


@dataclass(slots=True)
class Source:
    """One source as it was last heard. `heard_ns` is on the receiver's clock."""

    cid: bytes
    priority: int
    sequence: int
    heard_ns: int


def out_of_sequence(new: int, last: int) -> bool:
    """Whether sequence number `new` after `last` is to be discarded (ANSI E1.31-2018, 6.7.2).

    It is if new − last, as a signed byte, is from −19 to 0.
    """
    behind = (last - new) % 256
    return behind < _LATE


class Sources:
    """The sources of one universe, or of one synchronization address.

    The highest priority is heard. Of equal ones, the source that came first keeps the universe
    while it is alive: our choice, since the standard leaves it to the receiver (6.2.3.1).
    """

    def __init__(self) -> None:
        self._sources: dict[bytes, Source] = {}

    def __len__(self) -> int:
        return len(self._sources)

    def __contains__(self, cid: bytes) -> bool:
        return cid in self._sources

    @property
    def winner(self) -> Source | None:
        """The source that is heard, if any is alive."""
        if len(self._sources) == 1:  # as nearly always: asked for every datagram
            return next(iter(self._sources.values()))
        return max(self._sources.values(), key=lambda source: source.priority, default=None)

    @property
    def loss_ns(self) -> int | None:
        """When the next source is lost if it stays silent; None without sources. [ns]"""
        heard_ns = min((source.heard_ns for source in self._sources.values()), default=None)
        return None if heard_ns is None else heard_ns + LOSS_NS

    def hear(self, cid: bytes, sequence: int, priority: int, now_ns: int) -> Discard | None:
        """Take a packet; returns None if it is in sequence and its source has room."""
        source = self._sources.get(cid)
        if source is None:
            if len(self._sources) >= MOST_SOURCES and not self._make_room(priority):
                return Discard.CROWDED
            self._sources[cid] = Source(cid, priority, sequence, now_ns)
            return None
        if out_of_sequence(sequence, source.sequence):
            return Discard.SEQUENCE
        source.priority, source.sequence, source.heard_ns = priority, sequence, now_ns
        return None

    def _make_room(self, priority: int) -> bool:
        """Forget a source for one of higher priority: the lowest, and of equals the last to come.

        So many sources of low priority cannot keep out one that would be heard.
        """
        lowest = min(reversed(self._sources.values()), key=lambda source: source.priority)
        if lowest.priority >= priority:
            return False
        del self._sources[lowest.cid]
        return True

    def end(self, cid: bytes, sequence: int) -> Discard | None:
        """A source ends its stream; returns None, or why the packet is discarded."""
        source = self._sources.get(cid)
        if source is None:
            return Discard.ENDED
        if out_of_sequence(sequence, source.sequence):
            return Discard.SEQUENCE
        del self._sources[cid]
        return None

    def forget_silent(self, now_ns: int) -> None:
        """Forget the sources that have been silent for 2.5 s (6.7.1)."""
        silent = [c for c, s in self._sources.items() if now_ns - s.heard_ns >= LOSS_NS]
        for cid in silent:
            del self._sources[cid]
