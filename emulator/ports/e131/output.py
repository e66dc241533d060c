"""An output that sends ANSI E1.31-2018: to receivers on the network, or to `foreglow listen`."""

from __future__ import annotations

import socket
import uuid
from typing import Self

import numpy as np

from emulator.arrays import Bytes
from emulator.clock import Clock, RealClock
from emulator.description.display import Display
from emulator.ports.address import Address
from emulator.ports.e131.packet import DISCOVERY_NS
from emulator.ports.e131.sender import Datagram, Sender
from emulator.ports.e131.setup import Setup, read_setup
from emulator.ports.link import Link
from emulator.ports.remote import RemoteOutput
from emulator.signal.framing import led_bytes

_NETWORK_HZ = 100e6  # 100BASE-TX: an assumption about the slowest cable
_AROUND = 66  # bytes: preamble 8, Ethernet 14 and 4, gap 12 (IEEE 802.3), IPv4 20, UDP 8
# 6.6.2: levels that do not change are sent three times, then every 800 to 1000 ms. The standard
# does not say how soon the second and third follow; ours is long enough not to delay a frame.
_SOON_REPEATS, _SOON_NS, _KEEP_ALIVE_NS = 2, 200_000_000, 900_000_000
# ANSI E1.11: the shortest break and mark after break, and 44 µs for each slot and the start code;
# at least 1204 µs from one break to the next (from memory).
_BREAK_US, _SLOT_US, _LEAST_US = 92 + 12, 44, 1204


class E131Output(RemoteOutput):
    """Sends every frame over the universes the display needs, then releases it whole.

    `send` waits for the time that the network, the refresh rate and the LED wire need for the frame
    before. Receivers do not answer: foreglow cannot see that a frame was lost in the network;
    `lost` counts the datagrams that this machine could not send.

    A stream counts as lost if nothing comes for 2.5 s. So call `pump` at least once a second while
    a picture does not change: it sends the frame again as the standard requires (6.6.2). With
    multicast the source also announces its universes every 10 s (4.3). With the address of one
    receiver it does not, because the announcement would go to all.

    clock: default: real time; tests give a simulated one. Raises OSError if the machine has no such
    interface.
    """

    def __init__(self, display: Display, setup: Setup, clock: Clock | None = None) -> None:
        super().__init__(display, clock or RealClock())
        self.setup = setup
        cid = uuid.uuid4().bytes
        name, sync = setup.source_name, setup.sync_address
        self.sender = Sender(setup.packing, cid, name, setup.priority, sync)
        self.lost = 0
        self._leds = [
            np.zeros((leds, display.chip.bytes_per_led), np.uint8)
            for leds in display.wiring.line_lengths
        ]
        self._transport = _transport(setup, self.sender)
        self._cycle_ns = round(1e9 / self.link.frames_per_s)
        self._free_ns = self.clock.now_ns()
        self._repeats = 0  # of the last frame
        self._repeat_ns: int | None = None  # when the next one is due; None before any frame
        self._discovery_ns = self._free_ns  # when to announce the universes
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        if setup.multicast:
            interface = socket.inet_aton(setup.interface)
            try:
                self._socket.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, interface)
            except OSError:
                self._socket.close()
                raise

    @classmethod
    def open(cls, address: Address, display: Display) -> Self:
        """The output at e131://HOST?universe=1 (emulator/ports/e131/setup.py has the options).

        Raises AddressError.
        """
        setup = read_setup(address, display)
        try:
            return cls(display, setup)
        except OSError as error:
            what = f"the interface {setup.interface} ({error.strerror})"
            raise address.error(what, "give an address of this machine.") from error

    @property
    def transport(self) -> Link:
        """The network, and the rate at which a universe may be refreshed."""
        return self._transport

    def pump(self) -> None:
        """Send the last frame again if that is due, so that the stream does not end."""
        due_ns = self._repeat_ns
        if not self._closed and due_ns is not None and self.clock.now_ns() >= due_ns:
            self._repeats += 1
            self._send_out(self.sender.repeat())

    def _put(self, lines: list[Bytes]) -> None:
        self._repeats = 0
        chip = self.bench.display.chip
        for leds, data in zip(self._leds, lines, strict=True):
            sent = led_bytes(data, chip)[: len(leds)]
            leds[: len(sent)] = sent  # LEDs that get nothing keep their drives
        drives = np.concatenate(self._leds)[:, chip.from_wire]
        datagrams = self.sender.frame(drives)  # before the wait: it takes a while
        self.clock.wait_until(self._free_ns)
        self._send_out(datagrams)

    def _release(self) -> None:
        with self._socket:
            self._transmit(self.sender.end())

    def _send_out(self, datagrams: list[Datagram]) -> None:
        now_ns = self.clock.now_ns()
        self._free_ns = now_ns + self._cycle_ns
        self._repeat_ns = now_ns + (_SOON_NS if self._repeats < _SOON_REPEATS else _KEEP_ALIVE_NS)
        self._transmit(datagrams)
        if self.setup.multicast and now_ns >= self._discovery_ns:
            self._discovery_ns = now_ns + DISCOVERY_NS
            self._transmit(self.sender.discovery())

    def _transmit(self, datagrams: list[Datagram]) -> None:
        for universe, payload in datagrams:
            try:
                self._socket.sendto(payload, self.setup.destination(universe))
            except OSError:  # no route, or no cable: lost, as in the network
                self.lost += 1


def _transport(setup: Setup, sender: Sender) -> Link:
    """The limit of the network, and that of E1.31-2018, 6.6.1.

    No universe is sent more often than a DMX512 line of as many slots could be refreshed, unless
    the address says so (`rate=`).
    """
    sizes = sender.payload_bytes
    frame_s = (sum(sizes) + _AROUND * len(sizes)) * 8 / _NETWORK_HZ
    slots = max(setup.packing.slots)
    refresh_us = max(_LEAST_US, _BREAK_US + _SLOT_US * (1 + slots))
    rate = setup.rate or 1e6 / refresh_us
    universes = setup.packing.universes
    if 1 / frame_s <= rate:
        words = f"{universes} universe(s) take {frame_s * 1e3:.2f} ms on a 100 Mbit/s network"
        return Link(1 / frame_s, frame_s, words, "use a faster network or fewer LEDs")
    words = f"a universe of {slots} slots may be sent every {1e3 / rate:.1f} ms (E1.31, 6.6.1)"
    if setup.rate is not None:
        words = f"the address says rate={rate}"
    return Link(rate, frame_s, words, "write a higher rate= in the address if the receiver can")
