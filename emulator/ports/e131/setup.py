"""What an E1.31 address says: where the universes go or come from, and where LEDs are in them.

    e131:                                    only this machine (127.0.0.1), from universe 1 on
    e131://192.168.1.20?universe=5           one receiver
    e131://239.255.0.1?packing=continuous    multicast, from the universe of that group on

The same address is for sending and for listening. Options: universe, packing (whole, continuous),
order (of an LED's bytes, RGB …), priority, name (of the source), sync (synchronization address;
when listening to multicast, its group is joined), rate (frames/s above what the standard
allows), interface (own address for multicast). README.md has a table of them.
"""

from __future__ import annotations

import ipaddress
import socket
from dataclasses import dataclass
from functools import cached_property
from typing import get_args

from emulator.description.display import Display
from emulator.errors import OutOfRangeError
from emulator.ports.address import Address
from emulator.ports.e131.packet import MOST_PRIORITY, MOST_UNIVERSE, NAME_BYTES, PORT, SLOTS
from emulator.ports.e131.packing import Packing, Style

_GROUPS = ipaddress.ip_network("239.255.0.0/16")  # 9.3.1: 239.255.universe high.universe low
_LOOPBACK = "127.0.0.1"
_OPTIONS = ("universe", "packing", "order", "priority", "name", "sync", "rate", "interface")
_MOST_RATE = 1000


@dataclass(frozen=True)
class Setup:
    """A checked address.

    host: an IPv4 address; with `multicast` the group of the first universe. interface: the own
    address for multicast; with 0.0.0.0 the system chooses. sync_address: None: the sender chooses.
    rate: most frames a second; None: what the standard allows.
    """

    packing: Packing
    host: str = _LOOPBACK
    port: int = PORT
    interface: str = "0.0.0.0"
    priority: int = 100
    source_name: str = "foreglow"
    sync_address: int | None = None
    rate: int | None = None

    @cached_property
    def multicast(self) -> bool:
        """Whether every universe has a group of its own."""
        return ipaddress.ip_address(self.host).is_multicast

    @property
    def universes(self) -> str:
        """The universes in words: 'universe 1', 'universes 1 to 5 (170 LEDs each)'."""
        packing, first = self.packing, self.packing.first_universe
        last = first + packing.universes - 1
        if first == last:
            return f"universe {first}"
        each = f"{packing.leds_each} LEDs" if packing.style == "whole" else f"{SLOTS} slots"
        return f"universes {first} to {last} ({each} each)"

    @property
    def heard(self) -> str:
        """What a listener hears, in words: place, universes, order of channels, synchronization."""
        place, by = f"{self.host}:{self.port}", ""
        if self.multicast:
            last = group(self.packing.first_universe + self.packing.universes - 1)
            groups = self.host if last == self.host else f"{self.host} to {last}"
            place = f"multicast {groups}, port {self.port}"
            by = " by a universe heard"
            by += f", or {self.sync_address}" if self.sync_address else ""
        sync = f"synchronized{by} where the source says so"
        return f"E1.31 on {place}, {self.universes}, {self.packing.order}, {sync}"

    def destination(self, universe: int) -> tuple[str, int]:
        """Host and port that packets of a universe, or of a synchronization address, go to."""
        return (group(universe) if self.multicast else self.host), self.port


def group(universe: int) -> str:
    """The multicast group of a universe (9.3.1)."""
    return str(_GROUPS.network_address + universe)


def read_setup(address: Address, display: Display) -> Setup:
    """What an address says for a display. Raises AddressError."""
    if address.kind != "e131":
        raise address.error(f"the kind '{address.kind}:'", "write e131:, or e131://HOST:PORT.")
    address.only(*_OPTIONS, place=bool(address.place))
    host, port = _place(address)
    style = address.choice("packing", get_args(Style))
    order = address.options.get("order", "").upper() or None
    universe = _universe(address, host)
    name = address.options.get("name", f"foreglow {display.name}"[: NAME_BYTES // 4])
    if len(name.encode()) > NAME_BYTES:
        raise address.error(f"name={name}", f"give a name of at most {NAME_BYTES} bytes.")
    try:
        packing = Packing.of(display, universe, style, order)  # type: ignore[arg-type]
    except OutOfRangeError as error:
        raise address.error(error.what, error.fix) from error
    return Setup(
        packing,
        host,
        port,
        _ip(address, "interface", address.options.get("interface", "0.0.0.0")),
        address.number("priority", 100, 0, MOST_PRIORITY),
        name,
        address.number("sync", 0, 0, MOST_UNIVERSE) if "sync" in address.options else None,
        address.number("rate", 1, 1, _MOST_RATE) if "rate" in address.options else None,
    )


def _place(address: Address) -> tuple[str, int]:
    """Host, as an IPv4 address, and port."""
    name, colon, port = address.place.partition(":")
    if colon and not (port.isascii() and port.isdigit() and 0 < int(port[:6]) < 65536):
        raise address.error(f"the port '{port}'", f"leave it out for {PORT}, or give 1 to 65535.")
    host = _ip(address, "host", name or _LOOPBACK)
    if ipaddress.ip_address(host).is_multicast and ipaddress.ip_address(host) not in _GROUPS:
        raise address.error(f"the group {host}", "give 239.255.0.1 or above: one a universe.")
    return host, int(port) if colon else PORT


def _universe(address: Address, host: str) -> int:
    """The first universe: as given, else that of the multicast group, else 1."""
    if not ipaddress.ip_address(host).is_multicast:
        return address.number("universe", 1, 1, MOST_UNIVERSE)
    of_group = int(ipaddress.ip_address(host)) - int(_GROUPS.network_address)
    universe = address.number("universe", of_group, 1, MOST_UNIVERSE)
    if universe != of_group:
        raise address.error(
            f"the group {host} with universe {universe}",
            f"universe {universe} has the group {group(universe)}; leave out universe=.",
        )
    return universe


def _ip(address: Address, what: str, name: str) -> str:
    """An IPv4 address; a name is looked up."""
    try:
        return str(ipaddress.IPv4Address(name))
    except ValueError:
        pass
    try:
        return socket.gethostbyname(name)
    except (OSError, UnicodeError) as error:
        raise address.error(
            f"the {what} '{name}'", "give an IPv4 address, or a name this machine can look up."
        ) from error
