"""The shape of a transfer for one-wire chips: the LED bits in it, perhaps reordered or inverted."""

from __future__ import annotations

from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from emulator.signal.spi import Transfer

Turned = Literal["", "reversed", "inverted", "swapped"]
_MOST_BITS = 16  # of SPI for an LED bit; nobody uses more
_FEWEST = 16  # with so many LED bits or more, a shape cannot be chance


class Shape(NamedTuple):
    """SPI bits for each LED bit, and the change after which a transfer has LED bits in it.

    turned: 'reversed' (the bits of each byte), 'inverted' (all bits) or 'swapped' (the bytes of
    each word).
    """

    bits: int
    turned: Turned


def shape_of(one: Transfer) -> Shape | None:
    """The shape of a transfer; None if it has none."""
    for turned in _WAYS:
        bits = led_bits(_turn(one, turned))
        if bits:
            return Shape(bits, turned)
    return None


def led_bits(bits: NDArray[np.uint8]) -> int:
    """How many SPI bits make an LED bit in a run (n,) of them, each high first and low last.

    0 if these are not LED bits.
    """
    ones = np.flatnonzero(bits)
    if not ones.size:
        return 0
    body = bits[ones[0] : ones[-1] + 1]
    rises = np.flatnonzero((body[1:] == 1) & (body[:-1] == 0)) + 1
    if rises.size < _FEWEST:
        return 0
    each = int(np.gcd.reduce(rises))
    if not 2 < each <= _MOST_BITS:
        return 0
    padded = np.zeros(-(-body.size // each) * each, np.uint8)
    padded[: body.size] = body
    rows = padded.reshape(-1, each)
    falls_once = (np.diff(rows.astype(np.int8), axis=1) <= 0).all()
    return each if falls_once and rows[:, 0].all() and not rows[:, -1].any() else 0


_WAYS: tuple[Turned, ...] = ("", "reversed", "swapped", "inverted")


def _turn(one: Transfer, turned: Turned) -> NDArray[np.uint8]:
    bits = one.bits
    if turned == "inverted":
        return 1 - bits
    whole = bits[: bits.size - bits.size % 32]
    if turned == "reversed":
        return whole.reshape(-1, 8)[:, ::-1].ravel()
    if turned == "swapped":
        size = 4 if one.bits_per_word > 16 else 2
        return whole.reshape(-1, size, 8)[:, ::-1].ravel()
    return bits
