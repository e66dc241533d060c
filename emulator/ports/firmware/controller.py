"""The controllers that firmware is written for, with the figures that it needs."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from emulator.errors import ForeglowError, UnknownNameError


class FirmwareError(ForeglowError, ValueError):
    """A controller cannot drive a display, or a firmware cannot be run."""


@dataclass(frozen=True)
class Controller:
    """A microcontroller of the AVR family. Source: its datasheet, Microchip.

    flash, ram: bytes. ram_at: address of the first byte of RAM. pins: those that LED lines can use,
    in the order of use, without those of serial port, crystal and reset; those of the debug port
    (JTAG, on in new chips) come last. mosi, sck, ss: pins of the SPI port.
    interrupt_cycles: from the interrupt to its first instruction and back, with its jump.
    """

    name: str
    flash: int
    ram: int
    ram_at: int
    pins: tuple[str, ...]
    mosi: str
    sck: str
    ss: str
    interrupt_cycles: int

    @property
    def part(self) -> str:
        """Its name for compiler and simulator."""
        return self.name.lower()


def _pins(text: str) -> tuple[str, ...]:
    """'B0-5 D2-7' → B0, B1 … D7."""
    found: list[str] = []
    for port, first, last in re.findall(r"([A-L])(\d)-(\d)", text):
        found += [f"{port}{bit}" for bit in range(int(first), int(last) + 1)]
    return tuple(found)


CONTROLLERS: Mapping[str, Controller] = {
    controller.name: controller
    for controller in (
        Controller(
            "ATmega328P", 32 << 10, 2 << 10, 0x100, _pins("B0-5 C0-5 D2-7"), "B3", "B5", "B2", 11
        ),
        Controller(
            "ATmega1284P", 128 << 10, 16 << 10, 0x100, _pins("A0-7 B0-7 D2-7 C0-7"),
            "B5", "B7", "B4", 11,
        ),
        Controller(
            "ATmega2560", 256 << 10, 8 << 10, 0x200,
            _pins("A0-7 C0-7 B0-7 D0-7 E2-7 G0-5 H0-7 J0-7 K0-7 L0-7 F0-7"), "B2", "B1", "B0", 13,
        ),
    )
}  # fmt: skip


def controller(name: str) -> Controller:
    """The controller with a name; case does not matter. Raises UnknownNameError."""
    for known, found in CONTROLLERS.items():
        if known.upper() == name.upper():
            return found
    raise UnknownNameError("controller", name, CONTROLLERS)
