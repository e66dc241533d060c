"""Linux SPI on the wire: transfers to the edges of MOSI and SCLK."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from emulator.signal.waveform import Waveform, from_toggles

Idle = Literal["low", "high", "last"]
"""The level of MOSI between transfers: low, high, or that of the last bit."""

CPHA = 1  # the bits of a mode: include/uapi/linux/spi/spi.h
CPOL = 2


@dataclass(frozen=True, eq=False)
class Transfer:
    """What one transfer puts on the wire.

    data : uint8 (B,), in the order of memory. begin_ns : its first bit begins. [ns]
    hz : the true frequency of SCLK. asked_hz : what the program asked for; 0 if that is unknown.
    mode : 0 to 3, CPOL · 2 + CPHA. lsb_first : the lowest bit of each word leaves first.
    bits_per_word : 1 to 32. call : transfers of the same call of the program have the same number.

    Words of more than 8 bits are in memory in the processor's byte order, each in 2 or 4 bytes
    (include/linux/spi/spi.h, bits_per_word, from memory). The processor is taken to be
    little-endian, as Linux runs on ARM: so the second byte leaves before the first.
    """

    data: NDArray[np.uint8]
    begin_ns: int
    hz: float
    mode: int = 0
    lsb_first: bool = False
    bits_per_word: int = 8
    asked_hz: int = 0
    call: int = 0

    @cached_property
    def bits(self) -> NDArray[np.uint8]:
        """The bits in the order in which they leave, uint8 (n,)."""
        return bits_on_wire(self.data, self.lsb_first, self.bits_per_word)

    @cached_property
    def first_one(self) -> int:
        """Index of the first bit that is 1; the number of bits if there is none."""
        return int(self.bits.argmax()) if self.bits.any() else self.bits.size

    @cached_property
    def after_ones(self) -> int:
        """Index of the bit after the last 1; 0 if there is none."""
        return self.bits.size - int(self.bits[::-1].argmax()) if self.bits.any() else 0

    @property
    def bit_ns(self) -> float:
        """How long a bit lasts."""
        return 1e9 / self.hz

    @property
    def end_ns(self) -> int:
        """Its last bit has ended."""
        return self.begin_ns + round(self.bits.size * self.bit_ns)

    @property
    def low_tail_ns(self) -> int:
        """How long MOSI is low at the end of the transfer, in its last zero bits. [ns]"""
        return round((self.bits.size - self.after_ones) * self.bit_ns)


def word_bytes(bits_per_word: int) -> int:
    """Bytes that a word takes in memory: 1, 2 or 4."""
    return 1 if bits_per_word <= 8 else 2 if bits_per_word <= 16 else 4


def bits_on_wire(
    data: NDArray[np.uint8], lsb_first: bool = False, bits_per_word: int = 8
) -> NDArray[np.uint8]:
    """The bits of bytes (B,) in the order in which they leave, uint8 (n,), 0 or 1.

    A word is in the low bits of its bytes. Bytes at the end that do not fill a word are left out:
    the kernel refuses them.
    """
    if bits_per_word == 8:
        return np.unpackbits(data, bitorder="little" if lsb_first else "big")
    size = word_bytes(bits_per_word)
    words = data[: data.size - data.size % size].reshape(-1, size)[:, ::-1]
    bits = np.unpackbits(words, axis=1)[:, 8 * size - bits_per_word :]
    return np.ascontiguousarray(bits[:, ::-1] if lsb_first else bits).ravel()


def mosi(
    transfers: Sequence[Transfer], idle: Idle, before: bool, start_ns: int, end_ns: int
) -> Waveform:
    """The level of MOSI from start_ns to end_ns, through transfers in the order of time.

    before : its level before the first transfer. Each bit lasts one period of the clock, in every
    mode; between two transfers the line is idle. Not modelled: the level in the short time between
    chip select and first clock.
    """
    toggles, level = [np.zeros(0, np.int64)], before
    for one in transfers:
        bits = one.bits
        after = idle == "high" or (idle == "last" and bool(bits[-1] if bits.size else level))
        levels = np.empty(bits.size + 2, np.uint8)
        levels[0], levels[1:-1], levels[-1] = level, bits, after
        toggles.append(_times(2 * np.flatnonzero(levels[1:] != levels[:-1]), one))
        level = after
    return from_toggles(np.concatenate(toggles), before, start_ns, end_ns)


def sclk(transfers: Sequence[Transfer], start_ns: int, end_ns: int) -> Waveform:
    """The level of SCLK from start_ns to end_ns, through transfers in the order of time.

    It rests at CPOL. Without CPHA it has an edge in the middle and one at the end of each bit; with
    CPHA, one at the beginning and one in the middle (Documentation/spi/spi-summary.rst, from
    memory).
    """
    rests_high = bool(transfers and transfers[0].mode & CPOL)
    toggles, level, rests_ns = [np.zeros(0, np.int64)], rests_high, start_ns
    for one in transfers:
        if bool(one.mode & CPOL) != level:  # another mode: the level changes before the data
            toggles.append(np.array([(rests_ns + one.begin_ns) // 2]))
            level = not level
        first = 0 if one.mode & CPHA else 1
        toggles.append(_times(np.arange(first, first + 2 * one.bits.size), one))
        rests_ns = one.end_ns
    return from_toggles(np.concatenate(toggles), rests_high, start_ns, end_ns)


def _times(half_bits: NDArray[np.int64], one: Transfer) -> NDArray[np.int64]:
    """Times after so many half bits of a transfer, int64, to the nearest nanosecond. [ns]"""
    times: NDArray[np.int64] = _halves(one.bits.size, one.bit_ns).take(half_bits, mode="clip")
    times += one.begin_ns
    return times


@lru_cache(maxsize=8)  # a program sends transfers of one length or a few
def _halves(bits: int, bit_ns: float) -> NDArray[np.int64]:
    times: NDArray[np.int64] = np.rint(np.arange(2 * bits + 1) * (bit_ns / 2)).astype(np.int64)
    return times
