"""SPI controllers: the clock that their divider gives, and what they can send."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from emulator.signal.spi import Idle

Divider = Literal["even", "whole", "powers", "none"]

DEFAULT = "bcm2835"

BUFSIZ = 4096
"""Bytes of the longest message, unless the module parameter `bufsiz` of spidev says otherwise.

drivers/spi/spidev.c, from memory: `static unsigned bufsiz = 4096`, "data bytes in biggest supported
SPI message". A longer message gets EMSGSIZE.
"""

GAP_US = 100
"""Between two transfers of a program that sends one after the other. [µs]

Common practice, no source: tens of microseconds to milliseconds, by kernel, load and language.
"""


@dataclass(frozen=True)
class Controller:
    """One SPI controller and its driver in the kernel.

    clock_hz: the clock that is divided. divider: the numbers it can be divided by, from
    `least_divider` to `most_divider`: 'powers' means powers of two; 'none' gives exactly the
    requested speed. lsb_first: whether it can send the lowest bit first. word_bits: the least and
    the most bits_per_word. idle: the level of MOSI at rest. default_hz: the speed of a device
    before a program sets one. source: the source of these figures.
    """

    clock_hz: int
    divider: Divider
    least_divider: int
    most_divider: int
    lsb_first: bool
    word_bits: tuple[int, int]
    idle: Idle
    default_hz: int
    source: str

    def divisor(self, asked_hz: int) -> int:
        """The divisor for a speed: the least whose clock is not above `asked_hz`, else the most."""
        wanted = max(-(-self.clock_hz // max(asked_hz, 1)), self.least_divider)
        if self.divider == "even":
            wanted += wanted % 2
        elif self.divider == "powers":
            wanted = 1 << (wanted - 1).bit_length()
        return min(wanted, self.most_divider)

    def real_hz(self, asked_hz: int) -> float:
        """The true clock if a program asks for a speed, in hertz."""
        if self.divider == "none":
            return float(asked_hz)
        return self.clock_hz / self.divisor(asked_hz)


_BCM = (
    "ARM Peripherals, SPI register CLK: SCLK = core clock / CDIV; even divisors work, as users have"
    " measured, against the datasheet's 'power of 2'. drivers/spi/spi-bcm2835.c, from memory:"
    " divisor rounded up to an even one, 8 bits a word, no lowest bit first. MOSI resting low:"
    " common practice, no source. 125 MHz before a speed is set: device tree, from memory."
)

CONTROLLERS: Mapping[str, Controller] = {
    "bcm2835": Controller(
        250_000_000, "even", 2, 65_536, False, (8, 8), "low", 125_000_000,
        f"Broadcom BCM2835 {_BCM} Core clock 250 MHz: common practice, no source.",
    ),
    "bcm2711": Controller(
        500_000_000, "even", 2, 65_536, False, (8, 8), "low", 125_000_000,
        f"Broadcom BCM2711, as the BCM2835: {_BCM} Core clock 500 MHz, which falls under light load"
        " unless it is fixed: common practice, no source.",
    ),
    "omap2": Controller(
        48_000_000, "whole", 1, 4_096, False, (4, 32), "low", 16_000_000,
        "drivers/spi/spi-omap2-mcspi.c (AM335x and others), from memory: 48 MHz by whole numbers up"
        " to 4096, 4 to 32 bits a word. MOSI resting low and 16 MHz: assumptions, no source.",
    ),
    "sun6i": Controller(
        24_000_000, "even", 2, 512, True, (8, 8), "low", 10_000_000,
        "drivers/spi/spi-sun6i.c (Allwinner H3 and others), from memory: module clock by even"
        " numbers up to 512, 8 bits a word, lowest bit first. A module clock of 24 MHz, MOSI"
        " resting low and 10 MHz: assumptions, no source.",
    ),
    "exact": Controller(
        500_000_000, "none", 1, 65_536, True, (1, 32), "low", 500_000,
        "no real one: the speed is the one asked for, and every setting is taken.",
    ),
}  # fmt: skip


def in_mhz(hz: float) -> str:
    """A clock in words: 2.358 MHz."""
    return f"{hz / 1e6:.4g} MHz" if math.isfinite(hz) else "no clock"
