"""The kernel's side of an SPI device: what it accepts and refuses, and when a transfer is sent.

From memory of drivers/spi/spidev.c and drivers/spi/spi.c, and of Documentation/spi/spidev.rst: a
message longer than `bufsiz` gets EMSGSIZE. Mode bits and word lengths that the controller lacks,
and bytes that do not fill whole words, get EINVAL.
"""

from __future__ import annotations

import errno

import numpy as np

from emulator.ports.spi.setup import Device, Wires
from emulator.signal.spi import CPHA, CPOL, Transfer, word_bytes

# include/uapi/linux/spi/spi.h
CS_HIGH, LSB_FIRST, THREE_WIRE, LOOP, NO_CS = 0x04, 0x08, 0x10, 0x20, 0x40


class Bus:
    """One controller: it carries one transfer at a time for all its devices."""

    def __init__(self) -> None:
        self.free_ns = 0  # from this time on the next transfer can begin


class OpenDevice:
    """An open /dev/spidev…, with its settings. The caller gives the times, in ns.

    Methods that set something return 0, or the errno with which the kernel refuses it.
    """

    def __init__(self, device: Device, wires: Wires, bus: Bus) -> None:
        self.device = device
        self.mode = 0
        self.bits_per_word = 8
        self.hz = wires.controller.default_hz
        self._wires, self._bus = wires, bus

    def set_mode(self, mode: int) -> int:
        """Set the mode bits (include/uapi/linux/spi/spi.h)."""
        controller = self._wires.controller
        known = CPHA | CPOL | CS_HIGH | THREE_WIRE | NO_CS
        known |= LSB_FIRST if controller.lsb_first else 0
        known |= LOOP if controller.divider == "none" else 0
        if mode & ~known:
            return errno.EINVAL
        self.mode = mode
        return 0

    def set_bits_per_word(self, bits: int) -> int:
        """Set the bits of a word; 0 means 8."""
        if not self._takes(bits or 8):
            return errno.EINVAL
        self.bits_per_word = bits or 8
        return 0

    def set_hz(self, hz: int) -> int:
        """Set the highest clock. [Hz]"""
        if hz == 0:
            return errno.EINVAL
        self.hz = hz
        return 0

    def message(
        self, data: bytes, at_ns: int, hz: int = 0, bits_per_word: int = 0, call: int = 0
    ) -> Transfer | int:
        """Put a message of one transfer on the wire at `at_ns`, or later when the bus is free.

        hz, bits_per_word: for this transfer; 0: those of the device. Returns an errno if the kernel
        refuses it.
        """
        bits = bits_per_word or self.bits_per_word
        if len(data) > self._wires.bufsiz:
            return errno.EMSGSIZE
        if not self._takes(bits) or len(data) % word_bytes(bits):
            return errno.EINVAL
        asked_hz = hz or self.hz
        transfer = Transfer(
            np.frombuffer(data, np.uint8),
            max(at_ns, self._bus.free_ns),
            self._wires.controller.real_hz(asked_hz),
            self.mode & (CPHA | CPOL),
            bool(self.mode & LSB_FIRST),
            bits,
            asked_hz,
            call,
        )
        self._bus.free_ns = transfer.end_ns + self._wires.gap_ns
        return transfer

    def _takes(self, bits: int) -> bool:
        least, most = self._wires.controller.word_bits
        return least <= bits <= most
