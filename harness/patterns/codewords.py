"""Numbers as words of an error-correcting code that are far from each other.

The words are those of extended narrow-sense primitive BCH codes [1, ch. 6]: of length 2^m, with
any two different in 2t + 2 places or more. So t wrong bits are corrected and t + 1 are noticed; of
bits that are only missing, 2t + 1 do no harm.

[1] S. Lin, D. J. Costello, Error Control Coding, 2nd ed., 2004. BCH codes: R. C. Bose, D. K.
    Ray-Chaudhuri, Information and Control 3, 1960; A. Hocquenghem, Chiffres 2, 1959.
"""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

import numpy as np

from emulator.arrays import Bools

# Primitive polynomials over GF(2), lowest power first as the lowest bit: [1], table 2.7.
_PRIMITIVE = {5: 0b100101, 6: 0b1000011}


class Code(NamedTuple):
    """An extended BCH code: words of 2^m bits for numbers of `data` bits."""

    m: int
    t: int
    data: int

    @property
    def bits(self) -> int:
        """The length of a word."""
        return 1 << self.m

    @property
    def distance(self) -> int:
        """In so many bits, or more, any two words differ: the BCH bound, and 1 of the parity."""
        return 2 * self.t + 2


CODES = (Code(5, 5, 11), Code(5, 3, 16), Code(6, 7, 24))


def code_for(count: int) -> Code:
    """The code for the numbers from 0 to below `count`. Raises ValueError above 2^24."""
    for code in CODES:
        if count <= 1 << code.data:
            return code
    raise ValueError(f"{count} numbers have no code; at most {1 << CODES[-1].data}")


@lru_cache(maxsize=4)
def codewords(count: int) -> Bools:
    """(count, bits) the word of each number from 0 on.

    The numbers are scattered over the code, so that in every bit about half of the words, also of
    any few dozen that follow each other, hold a 1. Up to half of the code's size, no word is the
    inverse of another.
    """
    code = code_for(count)
    message = _scattered(np.arange(count, dtype=np.int64), code.data - 1)
    # The highest bit, where it is not needed, is the sum of two others: so the message of all ones,
    # whose word is all ones, does not occur, and no two words add up to it.
    top = (message ^ message >> 1) & 1
    if count > 1 << (code.data - 1):
        top ^= np.arange(count) >> (code.data - 1)
    message = message & ((1 << (code.data - 1)) - 1) | top << (code.data - 1)
    held = ((message[:, None] >> np.arange(code.data)) & 1).astype(np.float32)
    words: Bools = (held @ _generator_rows(code)).astype(np.int64) % 2 == 1
    words.flags.writeable = False  # the cache keeps them
    return words


def _scattered(number: np.ndarray[tuple[int, ...], np.dtype[np.int64]], bits: int) -> np.ndarray:
    """A fixed permutation of the numbers of so many bits, which scatters neighbours."""
    size, half = (1 << bits) - 1, bits // 2 + 1
    number = number & size
    for odd in (0x9E3779B1, 0x85EBCA6B):  # multiplication by an odd number can be undone
        number = (number * odd) & size
        number = number ^ number >> half
    return number


def _generator_rows(code: Code) -> np.ndarray:
    """(data, bits) float 0 or 1: the word of each bit of a message, systematic, parity last."""
    length = code.bits - 1
    generator = generator_polynomial(code.m, code.t)
    checks = length - code.data
    rows = np.zeros((code.data, code.bits), dtype=np.float32)
    for bit in range(code.data):
        word = 1 << (checks + bit)
        word ^= _remainder(word, generator)
        rows[bit, :length] = [(word >> place) & 1 for place in range(length)]
        rows[bit, length] = word.bit_count() % 2
    return rows


def generator_polynomial(m: int, t: int) -> int:
    """Of the BCH code of length 2^m - 1 that corrects t bits; bit i is the coefficient of x^i.

    The product of the minimal polynomials of α, α^3 … α^(2t-1).
    """
    power = [1]  # of α, in GF(2^m)
    while len(power) < (1 << m) - 1:
        twice = power[-1] << 1
        power.append(twice ^ _PRIMITIVE[m] if twice >> m else twice)
    log = {value: exponent for exponent, value in enumerate(power)}
    roots = {odd * 2**k % len(power) for odd in range(1, 2 * t, 2) for k in range(m)}
    product = [1]  # coefficients in GF(2^m), lowest first; all end up 0 or 1
    for root in sorted(roots):
        higher, lower = [0, *product], [*product, 0]
        for place, value in enumerate(lower):
            if value:
                higher[place] ^= power[(log[value] + root) % len(power)]
        product = higher
    return sum(value << place for place, value in enumerate(product))


def _remainder(word: int, divisor: int) -> int:
    """Of the division of polynomials over GF(2)."""
    while word.bit_length() >= divisor.bit_length():
        word ^= divisor << (word.bit_length() - divisor.bit_length())
    return word
