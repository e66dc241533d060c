"""A source of ANSI E1.31-2018: drives go in, the datagrams of one frame come out."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from emulator.arrays import Bytes
from emulator.errors import OutOfRangeError
from emulator.ports.e131.packet import (
    DATA_BYTES,
    DISCOVERY_UNIVERSE,
    ENDS,
    LISTED,
    MOST_PRIORITY,
    MOST_UNIVERSE,
    NAME_BYTES,
    SEQUENCE_AT,
    SLOTS,
    SYNC_BYTES,
    DataPacket,
    DiscoveryPacket,
    SyncPacket,
)
from emulator.ports.e131.packing import Packing


class Datagram(NamedTuple):
    """A UDP payload, and the universe whose multicast group it goes to."""

    universe: int
    payload: bytes


class Sender:
    """Sends the universes of a display, each with its own sequence numbers (6.2.5).

    cid: 16 bytes that name this source, the same while it runs (5.6).
    sync_address: the universe whose group carries the synchronization packets; 0: none, and
    receivers show levels at once. Default: the first universe if there are several, else 0.

    Raises OutOfRangeError for a name, priority or address outside the standard's limits.
    """

    def __init__(
        self,
        packing: Packing,
        cid: bytes,
        source_name: str,
        priority: int = 100,
        sync_address: int | None = None,
    ) -> None:
        if sync_address is None:
            sync_address = packing.first_universe if packing.universes > 1 else 0
        for what, value, most in (
            ("a source name of so many bytes", len(source_name.encode()), NAME_BYTES),
            ("priority", priority, MOST_PRIORITY),
            ("synchronization address", sync_address, MOST_UNIVERSE),
        ):
            if not 0 <= value <= most:
                raise OutOfRangeError(f"{value}", place=what, fix=f"give 0 to {most}.")
        self.packing = packing
        self.cid = cid
        self.source_name = source_name
        self.priority = priority
        self.sync_address = sync_address
        self._sequence = 0
        self._sync_sequence = 0
        self._blank: dict[bool, Bytes] = {}
        self._last: Bytes | None = None  # (universes, 512) the levels of the last frame

    @property
    def payload_bytes(self) -> list[int]:
        """The length of each datagram of a frame, in bytes."""
        data = [DATA_BYTES + slots for slots in self.packing.slots]
        return [*data, SYNC_BYTES] if self.sync_address else data

    def frame(self, drives: Bytes) -> list[Datagram]:
        """The datagrams of one frame, uint8 (N, C): a data packet a universe, then the sync."""
        self._last = self.packing.pack(drives)
        return self.repeat()

    def repeat(self) -> list[Datagram]:
        """The datagrams of the last frame again, with new numbers; none before the first frame."""
        datagrams = self._data()
        if self.sync_address and datagrams:
            packet = SyncPacket(self.cid, self.sync_address, self._sync_sequence)
            self._sync_sequence = (self._sync_sequence + 1) % 256
            datagrams.append(Datagram(self.sync_address, packet.encode()))
        return datagrams

    def discovery(self) -> list[Datagram]:
        """The datagrams that announce the universes of this source (4.3), in pages."""
        first = self.packing.first_universe
        universes = {*range(first, first + self.packing.universes), self.sync_address} - {0}
        listed = sorted(universes)
        pages = [tuple(listed[at : at + LISTED]) for at in range(0, len(listed), LISTED)]
        return [
            Datagram(
                DISCOVERY_UNIVERSE,
                DiscoveryPacket(self.cid, self.source_name, page, n, len(pages) - 1).encode(),
            )
            for n, page in enumerate(pages)
        ]

    def end(self) -> list[Datagram]:
        """The datagrams that end the stream, three a universe (6.2.6); none before the first frame.

        They repeat the last levels: receivers shall ignore those, but not all do.
        """
        rounds = [self._data(terminated=True) for _ in range(ENDS)]
        return [datagram for datagrams in rounds for datagram in datagrams]

    def _data(self, *, terminated: bool = False) -> list[Datagram]:
        """A data packet for each universe, all with the same number: each has sent as many."""
        if self._last is None:
            return []
        sequence, self._sequence = self._sequence, (self._sequence + 1) % 256
        packets = self._packets(terminated)
        packets[:, SEQUENCE_AT] = sequence
        packets[:, DATA_BYTES:] = self._last
        ends = (DATA_BYTES + slots for slots in self.packing.slots)
        return [
            Datagram(universe, packet[:end].tobytes())
            for universe, (packet, end) in enumerate(
                zip(packets, ends, strict=True), self.packing.first_universe
            )
        ]

    def _packets(self, terminated: bool) -> Bytes:
        """(universes, 638) a packet of each, without number and levels; made once."""
        if terminated in self._blank:
            return self._blank[terminated]
        packets = np.zeros((self.packing.universes, DATA_BYTES + SLOTS), dtype=np.uint8)
        for universe, (packet, slots) in enumerate(
            zip(packets, self.packing.slots, strict=True), self.packing.first_universe
        ):
            made = DataPacket(
                self.cid,
                universe,
                bytes(slots),
                0,
                self.priority,
                self.source_name,
                self.sync_address,
                terminated=terminated,
            ).encode()
            packet[: len(made)] = np.frombuffer(made, dtype=np.uint8)
        self._blank[terminated] = packets
        return packets
