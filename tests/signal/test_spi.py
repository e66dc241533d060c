"""Transfers on MOSI and SCLK: modes, word order, idle levels, times."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator.signal.spi import Transfer, bits_on_wire, mosi, sclk

HZ = 1_000_000  # 1 µs a bit


def transfer(*data, begin_ns=10_000, **more):
    return Transfer(np.array(data, np.uint8), begin_ns, HZ, **more)


def levels(wave, times_ns):
    return wave.levels_before(np.array(times_ns) + 1).tolist()


def middles(one):
    return one.begin_ns + 500 + 1000 * np.arange(one.bits.size)


def test_the_highest_bit_leaves_first_and_the_lowest_where_asked():
    assert bits_on_wire(np.array([0b1000_0010], np.uint8)).tolist() == [1, 0, 0, 0, 0, 0, 1, 0]
    assert bits_on_wire(np.array([0b1000_0010], np.uint8), lsb_first=True).tolist() == [
        0, 1, 0, 0, 0, 0, 0, 1,
    ]  # fmt: skip


# include/linux/spi/spi.h, bits_per_word, from memory: words lie in memory in the processor's order
# (little-endian here), in 2 bytes up to 16 bits and in 4 beyond, in their low bits.
@pytest.mark.parametrize(
    ("bits_per_word", "data", "words"),
    [(16, "0102 8000", [0x0201, 0x0080]), (12, "ff0f 0100", [0xFFF, 0x001]),
     (24, "01020300", [0x030201]), (32, "01020304", [0x04030201]), (9, "ff01", [0x1FF]),
     (5, "1f 01", [0x1F, 0x01])],
)  # fmt: skip
def test_words_leave_as_numbers_whatever_their_bytes(bits_per_word, data, words):
    bits = bits_on_wire(np.frombuffer(bytes.fromhex(data), np.uint8), False, bits_per_word)
    told = "".join(format(word, f"0{bits_per_word}b") for word in words)
    assert "".join(map(str, bits)) == told
    turned = bits_on_wire(np.frombuffer(bytes.fromhex(data), np.uint8), True, bits_per_word)
    assert "".join(map(str, turned)) == "".join(
        format(w, f"0{bits_per_word}b")[::-1] for w in words
    )


@given(
    st.binary(min_size=1, max_size=20), st.integers(0, 3), st.sampled_from(["low", "high", "last"])
)
def test_mosi_holds_each_bit_for_a_period_whatever_the_mode(data, mode, idle):
    one = Transfer(np.frombuffer(data, np.uint8), 10_000, HZ, mode)
    line = mosi([one], idle, False, 0, one.end_ns + 9_000)
    assert levels(line, middles(one)) == np.unpackbits(one.data).tolist()
    rest = {"low": 0, "high": 1, "last": data[-1] & 1}[idle]
    assert levels(line, [5_000, one.end_ns + 4_000]) == [0, rest]


# Documentation/spi/spi-summary.rst, from memory: CPOL is the level at rest; CPHA 0 samples on the
# leading edge, CPHA 1 on the trailing one.
@pytest.mark.parametrize("mode", range(4))
def test_the_clock_rests_at_cpol_and_its_sampling_edge_lies_amid_a_bit(mode):
    one = transfer(0xA5, 0x0F, mode=mode)
    clock = sclk([one], 0, one.end_ns + 9_000)
    cpol, cpha = mode >> 1, mode & 1
    assert levels(clock, [5_000, one.end_ns + 5_000]) == [cpol, cpol]
    leading, trailing = clock.edges_ns[0::2], clock.edges_ns[1::2]
    assert np.array_equal((trailing if cpha else leading), middles(one))
    assert np.array_equal(np.diff(clock.edges_ns), np.full(2 * one.bits.size - 1, 500))


def test_between_two_transfers_the_line_is_idle():
    first, second = transfer(0xFF), transfer(0xFF, begin_ns=30_000)
    for idle, level in (("low", 0), ("high", 1), ("last", 1)):
        line = mosi([first, second], idle, False, 0, 50_000)
        assert levels(line, [25_000]) == [level]


def test_a_change_of_mode_moves_the_clock_between_the_transfers():
    first, second = transfer(0xFF), transfer(0x0F, begin_ns=30_000, mode=3)
    clock = sclk([first, second], 0, 50_000)
    assert levels(clock, [19_000, 29_000]) == [0, 1]
    assert np.count_nonzero(clock.rises_ns > 30_000) == 8


def test_times_are_those_of_the_real_clock_to_the_nanosecond():
    # 250 MHz / 106: 424 ns a bit (closed form)
    one = Transfer(np.full(500, 0b1001_0010, np.uint8), 0, 250e6 / 106)
    line = mosi([one], "low", False, -1_000, one.end_ns + 1_000)
    assert one.end_ns == 500 * 8 * 424
    assert set(np.diff(line.edges_ns)) == {424, 848}


def test_low_tail_counts_trailing_zero_bits():
    assert transfer(0xFF, 0xF0, 0, 0).low_tail_ns == 20_000
    assert transfer(0, 0).low_tail_ns == 16_000
    assert transfer(1).low_tail_ns == 0
