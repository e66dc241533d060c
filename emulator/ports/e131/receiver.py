"""A receiver of ANSI E1.31-2018: datagrams and the time go in, whole frames come out.

It has no socket and no clock: the caller calls `receive` for every datagram, and `advance` at the
time `next_ns`. Memory is bounded by the display's size.

When a frame is complete, for a display of several universes:

- with a synchronization address: when the synchronization packet comes (6.2.4, 11.1). Levels wait
  for it. A source's packet releases its own levels; a packet from a CID that sends no levels
  releases all levels that wait for its address. If Force_Synchronization is set and no such packet
  has come for 2.5 s, levels are shown unsynchronized (6.2.6). If that packet is lost, and then
  a universe of the next frame, old levels are released together with new ones. Such a frame is
  counted, but shown: a source may leave out a universe that has not changed. The sequence numbers
  cannot show which it was, since each universe has its own (6.2.5).
- without: when all universes have come, or one comes again before the rest, or 10 ms after the
  first. This is our choice, so that a burst of packets shows as one frame. The standard only says
  that levels are acted on at once.
"""

from __future__ import annotations

import logging
from collections import Counter
from dataclasses import dataclass, field
from typing import Literal, NamedTuple

import numpy as np

from emulator.arrays import Bytes
from emulator.ports.e131.discard import Discard
from emulator.ports.e131.packet import LOSS_NS, SLOTS, DataPacket, SyncPacket, parse
from emulator.ports.e131.packing import Packing
from emulator.ports.e131.sources import Sources

_log = logging.getLogger("foreglow.e131")

_EACH_PRIORITY = 0xDD  # a start code that the trade uses (common practice; from memory)
GATHER_NS = 10_000_000  # a burst on a local network takes less; two frames are further apart


@dataclass
class Tally:
    """The counts of all datagrams: received = used + the sum of discards.

    frames: complete so far. incomplete: frames that a synchronization packet released without new
    levels for every universe that waits for it (lost, or not sent because nothing changed). Levels
    older than a lost synchronization packet are not new. superseded: frames that a newer one
    replaced before the LED wire was free. losses: how often a universe lost its last source.
    missed: datagrams that came too fast to be received; the owner of the socket counts them.
    """

    used: int = 0
    discards: Counter[Discard] = field(default_factory=Counter)
    frames: int = 0
    incomplete: int = 0
    superseded: int = 0
    losses: int = 0
    missed: int = 0

    @property
    def received(self) -> int:
        """All datagrams so far."""
        return self.used + self.discards.total()

    def describe(self) -> str:
        """The tally as a few lines of text."""
        lines = [
            f"{_many(self.received, 'datagram')}, {self.used} used, {_many(self.frames, 'frame')}"
        ]
        lines += [f"  discarded {count}: {reason}" for reason, count in self.discards.most_common()]
        if self.missed:
            lines.append(f"  {self.missed} more came too fast for this computer")
        if self.used and not self.frames:
            lines.append("  they wait for a synchronization packet to their address; none came")
        if self.incomplete:
            lines.append(
                f"  {_many(self.incomplete, 'frame')} without new levels for every universe"
            )
        if self.superseded:
            frames = _many(self.superseded, "frame")
            lines.append(f"  {frames} replaced by newer ones: the wire was busy")
        if self.losses:
            lines.append(f"  {_many(self.losses, 'time')} a universe lost its last source")
        return "\n".join(lines)


class _Waiting(NamedTuple):
    """Levels that wait for the synchronization packet that their source named."""

    cid: bytes
    levels: bytes
    round: int


class Receiver:
    """Joins the universes of a display, and decides which source is heard.

    on_loss: what a universe shows when its last source is lost: 'hold' the last levels, or 'dark'.
    tally: the counts to add to; default: new ones.
    """

    def __init__(
        self,
        packing: Packing,
        on_loss: Literal["hold", "dark"] = "hold",
        tally: Tally | None = None,
    ) -> None:
        self.packing = packing
        self.tally = tally or Tally()
        self._on_loss = on_loss
        self._levels: Bytes = np.zeros((packing.universes, SLOTS), dtype=np.uint8)
        self._sources = [Sources() for _ in range(packing.universes)]
        self._sync_address = [0] * packing.universes  # the one that the heard source named last
        self._waiting: dict[int, _Waiting] = {}
        self._round = 0  # of the levels that wait; a universe that comes again begins the next
        self._syncs: dict[int, Sources] = {}
        self._synced_ns: dict[int, int] = {}
        self._fresh: set[int] = set()  # universes changed since the last frame
        self._gathered_ns: int | None = None  # when a frame is shown without the rest
        self._loss_ns: int | None = None  # no source is lost before this time
        self._ready: list[Bytes] = []

    @property
    def live(self) -> bool:
        """Whether any universe has a source."""
        return any(map(len, self._sources))

    @property
    def next_ns(self) -> int | None:
        """When to call `advance` next, if nothing comes before; it may then give no frame. [ns]"""
        times = [t for t in (self._gathered_ns, self._loss_ns) if t is not None]
        return min(times, default=None)

    def receive(self, datagram: bytes, now_ns: int) -> list[Bytes]:
        """Take a UDP payload; returns the frames (N, C) that are due now, mostly none or one.

        Never raises, whatever the bytes: `tally.discards` counts datagrams that are not used.
        now_ns must not go backwards.
        """
        self._pass_time(now_ns)
        packet = parse(datagram)
        if isinstance(packet, DataPacket):
            reason = self._take_data(packet, now_ns)
        elif isinstance(packet, SyncPacket):
            reason = self._take_sync(packet, now_ns)
        else:
            reason = packet
        if reason is None:
            self.tally.used += 1
        else:
            self.tally.discards[reason] += 1
        return self._take_ready()

    def advance(self, now_ns: int) -> list[Bytes]:
        """The frames (N, C) that are due because time has passed; now_ns as for `receive`."""
        self._pass_time(now_ns)
        return self._take_ready()

    def _take_data(self, packet: DataPacket, now_ns: int) -> Discard | None:
        index = packet.universe - self.packing.first_universe
        if not 0 <= index < len(self._sources):
            return Discard.UNIVERSE
        sources = self._sources[index]
        if packet.terminated:
            reason = sources.end(packet.cid, packet.sequence)
            if reason is None:
                self._silence(index, packet.cid, now_ns)
            return reason
        if packet.start_code == _EACH_PRIORITY:
            if Discard.EACH_PRIORITY not in self.tally.discards:
                _log.warning(
                    "a source sends %s: its universe priority counts", Discard.EACH_PRIORITY
                )
            return Discard.EACH_PRIORITY
        if packet.start_code:
            return Discard.START_CODE
        if packet.preview:
            return Discard.PREVIEW
        reason = sources.hear(packet.cid, packet.sequence, packet.priority, now_ns)
        if reason is not None:
            return reason
        if self._loss_ns is None:
            self._loss_ns = now_ns + LOSS_NS
        winner = sources.winner
        if winner is None or winner.cid != packet.cid:
            return Discard.OUTRANKED
        address = packet.sync_address
        self._name_address(index, address)
        if address and not (packet.force_sync and self._sync_is_lost(address, now_ns)):
            before = self._waiting.get(index)
            if before is not None and before.round == self._round:
                self._round += 1
            self._waiting[index] = _Waiting(packet.cid, packet.levels, self._round)
        else:
            self._waiting.pop(index, None)
            self._change(index, packet.levels, now_ns)
        return None

    def _take_sync(self, packet: SyncPacket, now_ns: int) -> Discard | None:
        address = packet.address
        if not address or address not in self._sync_address:
            return Discard.SYNC_ADDRESS
        syncs = self._syncs.setdefault(address, Sources())
        syncs.forget_silent(now_ns)
        reason = syncs.hear(packet.cid, packet.sequence, 0, now_ns)
        if reason is not None:
            return reason
        wanted = [index for index, named in enumerate(self._sync_address) if named == address]
        if any(packet.cid in sources for sources in self._sources):
            wanted = [index for index in wanted if self._heard(index) == packet.cid]
            if not wanted:
                return Discard.OUTRANKED
        self._synced_ns[address] = now_ns
        released = [index for index in wanted if index in self._waiting]
        rounds = [self._waiting[index].round for index in released]
        for index in released:
            self._put(index, self._waiting.pop(index).levels)
        if released:
            self.tally.incomplete += len(released) < len(wanted) or min(rounds) < max(rounds)
            self._show()
        return None

    def _name_address(self, index: int, address: int) -> None:
        """Note that the source of a universe waits for another address, or for none (0)."""
        before = self._sync_address[index]
        self._sync_address[index] = address
        if before not in self._sync_address:
            self._syncs.pop(before, None)
            self._synced_ns.pop(before, None)

    def _heard(self, index: int) -> bytes | None:
        winner = self._sources[index].winner
        return winner.cid if winner else None

    def _sync_is_lost(self, address: int, now_ns: int) -> bool:
        """Whether synchronization had begun and has stopped for 2.5 s."""
        synced_ns = self._synced_ns.get(address)
        return synced_ns is not None and now_ns - synced_ns >= LOSS_NS

    def _change(self, index: int, levels: bytes, now_ns: int) -> None:
        """Take new levels that wait for no packet: they show when their frame is whole."""
        if index in self._fresh:
            self._show()
        self._put(index, levels)
        self._fresh.add(index)
        if len(self._fresh) == len(self._sources):
            self._show()
        elif self._gathered_ns is None:
            self._gathered_ns = now_ns + GATHER_NS

    def _put(self, index: int, levels: bytes) -> None:
        """Set levels; slots that were not sent keep their values."""
        self._levels[index, : len(levels)] = np.frombuffer(levels, dtype=np.uint8)

    def _show(self) -> None:
        self._ready.append(self.packing.unpack(self._levels))
        self._fresh.clear()
        self._gathered_ns = None
        self.tally.frames += 1

    def _take_ready(self) -> list[Bytes]:
        ready, self._ready = self._ready, []
        return ready

    def _pass_time(self, now_ns: int) -> None:
        if self._gathered_ns is not None and now_ns >= self._gathered_ns:
            self._show()
        if self._loss_ns is None or now_ns < self._loss_ns:
            return
        for index, sources in enumerate(self._sources):
            if heard := self._heard(index):
                sources.forget_silent(now_ns)
                if heard not in sources:
                    self._silence(index, heard, now_ns)
        losses = [sources.loss_ns for sources in self._sources]
        self._loss_ns = min((t for t in losses if t is not None), default=None)

    def _silence(self, index: int, cid: bytes, now_ns: int) -> None:
        """A source of a universe is gone: drop its waiting levels, and with the last one, all."""
        if index in self._waiting and self._waiting[index].cid == cid:
            del self._waiting[index]
        if len(self._sources[index]):
            return
        self._name_address(index, 0)
        self.tally.losses += 1
        if self._on_loss == "dark":
            self._change(index, bytes(SLOTS), now_ns)


def _many(count: int, noun: str) -> str:
    """'1 frame', '2 frames'."""
    return f"{count} {noun}{'' if count == 1 else 's'}"
