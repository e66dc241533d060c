"""The socket that receives ANSI E1.31-2018."""

from __future__ import annotations

import contextlib
import errno
import os
import socket
import sys

from psutil import net_if_addrs

from emulator.closing import Closing
from emulator.ports.address import Address
from emulator.ports.e131.setup import Setup

_GROUPS_EACH = 20  # Linux: net.ipv4.igmp_max_memberships, its default
_LONGEST = 2048  # bytes read of a datagram; the longest packet has 638
_WHOLE = 65_535  # the longest that UDP has
_BUFFER = 4 << 20  # bytes; the system may give less. 10,000 RGBW LEDs take 79 datagrams
_SO_RXQ_OVFL = 40  # Linux, socket(7): counts datagrams that found the buffer full
_IP_PKTINFO = 8  # Linux, ip(7): reports the interface of a datagram
_TOLD = 64  # bytes for the system's data about a datagram: the two above
_ANY = "0.0.0.0"
_AT_ONCE = 1024  # datagrams read in one call: a flood cannot stop the rest of the program


class Intake(Closing):
    """A socket on the setup's host; with multicast, for everything sent to the setup's groups.

    One socket receives all universes, because their order matters: a synchronization packet
    releases the levels before it. A Linux socket can join only a few groups, but receives the
    groups that any socket of the machine has joined; so more sockets, which read nothing, join
    them. A datagram that arrives at another interface than the given one, because another program
    has joined there, is ignored (Linux and Windows; macOS takes all).

    missed: datagrams for which the system's buffer was full, known from the next one on (Linux
    only).

    Raises AddressError if a socket cannot be opened; none is then left open.
    """

    missed = 0

    def __init__(self, setup: Setup, address: Address) -> None:
        self._closing = contextlib.ExitStack()
        host = "" if setup.multicast else setup.host
        self._only: int | None = None  # index of the only interface for multicast
        try:
            self._socket = self._open()
            self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, _BUFFER)
            if sys.platform == "linux":
                self._socket.setsockopt(socket.SOL_SOCKET, _SO_RXQ_OVFL, 1)
            if setup.multicast:  # groups may be shared with other programs
                self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            if setup.multicast and setup.interface != _ANY:
                if sys.platform == "linux":
                    self._only = _index_of(setup.interface)
                    self._socket.setsockopt(socket.IPPROTO_IP, _IP_PKTINFO, 1)
                elif sys.platform == "win32":  # on Windows the socket's address decides
                    host = setup.interface
            self._socket.bind((host, setup.port))
            if setup.multicast:
                self._join(_groups(setup), setup.interface)
        except OSError as error:
            self.close()
            raise address.error(
                f"{setup.host}, port {setup.port} ({error.strerror})",
                "give an address of this machine, or a group from 239.255.0.1 on; or end the other"
                " program that listens there.",
            ) from error

    def _open(self) -> socket.socket:
        return self._closing.enter_context(socket.socket(socket.AF_INET, socket.SOCK_DGRAM))

    def _join(self, groups: list[str], interface: str) -> None:
        for number, group in enumerate(groups):
            if number % _GROUPS_EACH == 0:
                joining = self._open()
            member = socket.inet_aton(group) + socket.inet_aton(interface)
            joining.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, member)

    def receive(self, timeout_s: float) -> list[bytes]:
        """The datagrams that have come, in order; waits for the first at most so long."""
        datagrams: list[bytes] = []
        with contextlib.suppress(TimeoutError, BlockingIOError):
            self._socket.settimeout(timeout_s)
            for _ in range(_AT_ONCE):
                datagram = self._take()
                if datagram is not None:
                    datagrams.append(datagram)
                self._socket.settimeout(0)
        return datagrams

    def _take(self) -> bytes | None:
        """The next datagram; None for one from another interface."""
        if sys.platform != "linux":
            return self._socket.recv(_WHOLE)  # on Windows a datagram longer than this is an error
        datagram, told, _, _ = self._socket.recvmsg(_LONGEST, _TOLD)
        for level, kind, value in told:
            if (level, kind) == (socket.SOL_SOCKET, _SO_RXQ_OVFL):
                self.missed = int.from_bytes(value, sys.byteorder)
            elif (level, kind) == (socket.IPPROTO_IP, _IP_PKTINFO):
                index = int.from_bytes(value[:4], sys.byteorder)  # struct in_pktinfo, ip(7)
                if self._only not in (None, index):
                    return None
        return datagram

    def close(self) -> None:
        """Close all sockets; a second call does nothing."""
        self._closing.close()


def _index_of(address: str) -> int:
    """The index of the interface that has an address. Raises OSError if there is none."""
    for name, addresses in net_if_addrs().items():
        if any(found.address == address for found in addresses):
            return socket.if_nametoindex(name)
    raise OSError(errno.EADDRNOTAVAIL, os.strerror(errno.EADDRNOTAVAIL))


def _groups(setup: Setup) -> list[str]:
    """The multicast groups of the setup, each once."""
    first = setup.packing.first_universe
    universes = [*range(first, first + setup.packing.universes)]
    if setup.sync_address:
        universes.append(setup.sync_address)
    return [setup.destination(universe)[0] for universe in dict.fromkeys(universes)]
