"""What an E1.31 receiver must show, by a small model of the standard, for one universe or several.

ANSI E1.31-2018 (from memory of the standard): 6.2.3 priority, highest wins; 6.7.2 sequence, numbers
from 19 behind to the same are old; 6.2.6 options: preview data is not for the wall, a terminated
stream's source is gone; 6.7.1 after 2.5 s without data a source is gone; 6.2.4 and 11.1 frames
with a synchronization address wait for a packet of that address. Start codes other than 0 hold no
levels.
"""

from __future__ import annotations

from dataclasses import dataclass, field

LOST_S = 2.5


@dataclass
class Source:
    """What a receiver knows of one source in one universe."""

    priority: int
    levels: bytes
    sequence: int
    heard_s: float
    waits: int = 0  # for synchronization packets of this address
    held: bytes | None = None


@dataclass
class Model:
    """Sources by universe and CID; `shown` says what a wall must show."""

    sources: dict[int, dict[bytes, Source]] = field(default_factory=dict)
    last: dict[int, bytes] = field(default_factory=dict)

    def data(
        self, now_s: float, universe: int, cid: bytes, levels: bytes, sequence: int, priority: int,
        sync: int = 0, options: int = 0, start: int = 0,
    ) -> None:  # fmt: skip
        """A data packet arrives."""
        self.forget(now_s)
        known = self.sources.setdefault(universe, {})
        old = known.get(cid)
        if old and -20 < _signed(sequence - old.sequence) <= 0:
            return
        if options & 0x40:
            known.pop(cid, None)
            return
        if options & 0x80 or start != 0:
            if old:
                old.sequence = sequence
            return
        if sync:
            shown = old.levels if old else b""
            known[cid] = Source(priority, shown, sequence, now_s, sync, levels)
        else:
            known[cid] = Source(priority, levels, sequence, now_s)

    def synchronize(self, address: int) -> None:
        """A synchronization packet arrives."""
        for known in self.sources.values():
            for source in known.values():
                if source.waits == address and source.held is not None:
                    source.levels, source.held = source.held, None

    def forget(self, now_s: float) -> None:
        for known in self.sources.values():
            for cid in [c for c, s in known.items() if now_s - s.heard_s > LOST_S]:
                del known[cid]

    def shown(self, universe: int) -> bytes:
        """The levels of the source of highest priority; the last picture where there is none."""
        known = [s for s in self.sources.get(universe, {}).values() if s.levels]
        if known:
            self.last[universe] = max(known, key=lambda s: s.priority).levels
        return self.last.get(universe, b"")


def _signed(difference: int) -> int:
    return ((difference & 255) ^ 128) - 128
