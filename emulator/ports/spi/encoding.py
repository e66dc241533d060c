"""LED bits as SPI bits: a one-wire chip driven by MOSI, each LED bit as 3, 4, 5 or 8 SPI bits.

An LED bit begins high and ends low; the number of its high SPI bits makes it a 0 or a 1.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from emulator.description.chips import OneWire

BITS = (3, 4, 5, 8)
"""SPI bits that an LED bit may be sent as."""

_STEP_HZ = 10_000  # between the clocks tried


@dataclass(frozen=True)
class Encoding:
    """One way to send LED bits: `bits` SPI bits each, `zero` or `one` of them high, then low."""

    bits: int
    zero: int
    one: int

    def encode(self, data: NDArray[np.uint8]) -> NDArray[np.uint8]:
        """The SPI bytes, uint8, highest bit first, that carry bytes (B,): `bits` for each."""
        return np.packbits(_spi_bits(self)[data].ravel())

    def spans_ns(self, hz: float) -> dict[str, float]:
        """How long T0H, T0L, T1H and T1L last at a clock. [ns]"""
        return {name: bits * 1e9 / hz for name, bits in self._lengths.items()}

    @property
    def _lengths(self) -> dict[str, int]:
        """SPI bits of each time."""
        zero, one, bits = self.zero, self.one, self.bits
        return {"T0H": zero, "T0L": bits - zero, "T1H": one, "T1L": bits - one}

    def margin(self, wire: OneWire, hz: float) -> float:
        """How far the worst of its times is inside the chip's tolerances, as a share of the bit.

        Negative if a time is outside.
        """
        return float(self.margins(wire, np.array([hz]))[0])

    def margins(self, wire: OneWire, hz: NDArray[np.float64]) -> NDArray[np.float64]:
        """The margins (n,) at clocks (n,)."""
        spans = np.array([wire.t0h, wire.t0l, wire.t1h, wire.t1l])
        times = np.array([*self._lengths.values()])[:, None] * 1e9 / hz
        inside = np.minimum(times - spans[:, :1], spans[:, 2:] - times).min(axis=0)
        shares: NDArray[np.float64] = inside * hz / 1e9 / self.bits
        return shares


def ways(bits: int) -> list[Encoding]:
    """All encodings of so many SPI bits: a 0 is high for less time than a 1, and both end low."""
    return [Encoding(bits, zero, one) for one in range(2, bits) for zero in range(1, one)]


def encoding_for(wire: OneWire, bits: int, hz: float) -> Encoding:
    """The encoding of so many SPI bits with the best margin at a clock; it may be negative."""
    return max(ways(bits), key=lambda way: (way.margin(wire, hz), way.one - way.zero))


def best_clock(
    wire: OneWire, bits: int, real_hz: Callable[[int], float] = float
) -> tuple[int, float]:
    """The clock to ask for, in hertz, and the margin that the best encoding has there.

    real_hz: the controller's true clock for one asked for. Of equally good clocks, the nearest to
    the chip's nominal bit counts.
    """
    zero_ns, one_ns = wire.bit_ns
    usual = round(bits * 2e9 / (zero_ns + one_ns) / _STEP_HZ) * _STEP_HZ
    asked = np.arange(usual // 2 // _STEP_HZ * _STEP_HZ, 2 * usual, _STEP_HZ)
    real = np.array([real_hz(hz) for hz in asked.tolist()])
    margins = np.max([way.margins(wire, real) for way in ways(bits)], axis=0)
    best = int(np.lexsort((np.abs(asked - usual), -margins.round(6)))[0])
    return int(asked[best]), float(margins[best])


def latch_bytes(reset_ns: int, hz: float) -> int:
    """How many zero bytes hold MOSI low for the reset time of a chip, plus one."""
    return math.ceil(reset_ns * hz / 8e9) + 1


@lru_cache(maxsize=32)
def _spi_bits(way: Encoding) -> NDArray[np.uint8]:
    """The SPI bits of each byte value, uint8 (256, 8 · bits)."""
    led_bits = np.unpackbits(np.arange(256, dtype=np.uint8)[:, None], axis=1)
    high = np.where(led_bits, way.one, way.zero)[:, :, None]
    spi: NDArray[np.uint8] = (np.arange(way.bits) < high).astype(np.uint8)
    return spi.reshape(256, 8 * way.bits)
