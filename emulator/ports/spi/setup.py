"""What an address of the kind spi: says: the devices, the clock, the controller."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import cast, get_args

from emulator.description.chips import OneWire
from emulator.description.display import Display
from emulator.errors import laid_out
from emulator.ports.address import Address
from emulator.ports.spi.controller import (
    BUFSIZ,
    CONTROLLERS,
    DEFAULT,
    GAP_US,
    Controller,
    Divider,
    in_mhz,
)
from emulator.ports.spi.encoding import BITS, Encoding, best_clock, encoding_for
from emulator.signal.spi import Idle

_MOST_HZ = 500_000_000
_MOST_BUFSIZ = 1 << 24
_CONTROLLER = ("controller", "clock_hz", "divider", "idle", "gap_us", "bufsiz", "lines")
_DATA = ("hz", "bits")
_DEVICE = re.compile(r"(?:/dev/spidev)?(\d{1,5})\.(\d{1,5})", re.ASCII)


@dataclass(frozen=True)
class Device:
    """One SPI device: /dev/spidev<bus>.<select>. Devices of a bus share MOSI and SCLK."""

    bus: int
    select: int

    @property
    def path(self) -> str:
        """'/dev/spidev0.1'."""
        return f"/dev/spidev{self.bus}.{self.select}"


@dataclass(frozen=True)
class Wires:
    """The devices between a program and the LEDs, one a line, and their controller.

    gap_ns: the least time from the end of a transfer to the beginning of the next. bufsiz: bytes of
    the longest message.
    """

    devices: tuple[Device, ...]
    controller: Controller
    name: str
    gap_ns: int
    bufsiz: int

    @property
    def gated(self) -> bool:
        """Whether lines share a bus, so that chip select must separate their data."""
        return len({device.bus for device in self.devices}) < len(self.devices)


@dataclass(frozen=True)
class Sending:
    """How a display's bytes are sent: the clock asked for, and the encoding of a one-wire chip."""

    hz: int
    encoding: Encoding | None


def read_wires(address: Address, display: Display) -> Wires:
    """The controller and devices of an address. Raises AddressError.

    Options: controller: bcm2835 and others; clock_hz, divider (even, whole, powers of two, none)
    and idle (low, high, last) change its properties. gap_us, bufsiz. lines=0.0,1.0: the device of
    each line; default: /dev/spidevN.0 for line N.
    """
    name = address.choice("controller", _first(DEFAULT, CONTROLLERS))
    controller = CONTROLLERS[name]
    divider = address.choice("divider", _first(controller.divider, get_args(Divider)))
    idle = address.choice("idle", _first(controller.idle, get_args(Idle)))
    controller = replace(
        controller,
        clock_hz=address.number("clock_hz", controller.clock_hz, 1_000, _MOST_HZ),
        divider=cast(Divider, divider),
        idle=cast(Idle, idle),
    )
    return Wires(
        _devices(address, display),
        controller,
        name,
        1_000 * address.number("gap_us", GAP_US, 0, 1_000_000),
        address.number("bufsiz", BUFSIZ, 1, _MOST_BUFSIZ),
    )


def read_sending(address: Address, display: Display, controller: Controller) -> Sending:
    """The clock and the encoding of an address; default: what suits the chip best.

    Raises AddressError.
    """
    wire = display.chip.wire
    if not isinstance(wire, OneWire):
        if "bits" in address.options:
            raise address.error(
                f"bits={address.options['bits']}",
                f"leave bits out: {display.chip.part} has a clock line and takes plain bytes.",
            )
        usual = round(display.controller.clock_mhz * 1e6)
        return Sending(address.number("hz", usual, 1_000, _MOST_HZ), None)
    best = {bits: best_clock(wire, bits, controller.real_hz) for bits in BITS}
    if "bits" in address.options:
        bits = int(address.choice("bits", tuple(map(str, BITS))))
    elif "hz" in address.options:
        asked = address.number("hz", 0, 1_000, _MOST_HZ)
        real = controller.real_hz(asked)
        bits = max(BITS, key=lambda b: encoding_for(wire, b, real).margin(wire, real))
    else:
        bits = next((b for b in BITS if best[b][1] > 0), BITS[-1])
    hz = address.number("hz", best[bits][0], 1_000, _MOST_HZ)
    return Sending(hz, encoding_for(wire, bits, controller.real_hz(hz)))


def only_known(address: Address, sending: bool) -> None:
    """Raise AddressError for an unknown option. sending: whether those of an output are known."""
    address.only(*(_DATA if sending else ()), *_CONTROLLER, place=bool(address.place))


def out_of_tolerance(sending: Sending, display: Display, controller: Controller) -> str:
    """The times of an encoding outside the datasheet at the true clock, in words; '' if none."""
    wire, way = display.chip.wire, sending.encoding
    if not isinstance(wire, OneWire) or way is None:
        return ""
    real = controller.real_hz(sending.hz)
    if way.margin(wire, real) >= 0:
        return ""
    spans = {"T0H": wire.t0h, "T0L": wire.t0l, "T1H": wire.t1h, "T1L": wire.t1l}
    wrong = ", ".join(
        f"{name} {time:.0f} ns (needs {spans[name].least} to {spans[name].most})"
        for name, time in way.spans_ns(real).items()
        if not spans[name].least <= time <= spans[name].most
    )
    return laid_out(
        f"{way.bits} SPI bits at {in_mhz(real)} are outside the datasheet of {display.chip.part}:"
        f" {wrong}",
        fix=better(display, controller),
    )


def better(display: Display, controller: Controller) -> str:
    """The bits and the clock that suit the chip of a display, as a fix in words."""
    wire = display.chip.wire
    assert isinstance(wire, OneWire)
    fitting = []
    for bits in BITS:
        hz, margin = best_clock(wire, bits, controller.real_hz)
        if margin > 0:
            fitting.append(f"{bits} bits at {in_mhz(hz)}")
    if not fitting:
        return f"no clock of this controller suits {display.chip.part}: choose another chip."
    return f"ask for {' or '.join(fitting)}."


def device_of(path: str) -> Device | None:
    """The device of a path such as /dev/spidev0.0; None if it is not such a path."""
    match = _DEVICE.fullmatch(path)
    return None if match is None else Device(int(match[1]), int(match[2]))


def _devices(address: Address, display: Display) -> tuple[Device, ...]:
    """The device of each line. Raises AddressError."""
    lines = len(display.wiring.line_lengths)
    text = address.place or address.options.get("lines", "")
    if not text:
        return tuple(Device(line, 0) for line in range(lines))
    found = [device_of(part) for part in text.split(",")]
    devices = tuple(device for device in found if device is not None)
    if len(devices) < len(found) or len(set(devices)) < len(devices):
        raise address.error(f"'{text}'", "name devices as /dev/spidev0.0, each once.")
    if len(devices) != lines:
        raise address.error(
            f"{len(devices)} device(s) for {lines} line(s)",
            "name one device a line, separated by commas: /dev/spidev0.0,/dev/spidev1.0.",
        )
    return devices


def _first(word: str, words: Iterable[str]) -> tuple[str, ...]:
    """Words with one of them first: the default of `Address.choice`."""
    return (word, *(other for other in words if other != word))
