"""What a chip reads over a disturbed data wire, against closed forms and the datasheet's levels."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from emulator.description.chips import chip
from emulator.description.faults.built import DataWire
from emulator.signal.disturbed import disturbed, pulse

WIRE = chip("WS2812B").wire
DATA = np.random.default_rng(0).integers(0, 256, 600, dtype=np.uint8)


def read(way, rail_v=5.0, lift_v=0.0, data=DATA, seed=0):
    return disturbed(data, WIRE, way, rail_v, lift_v, np.random.default_rng(seed))


def test_a_wire_as_planned_lets_all_through():
    [(pause_ns, _, data)] = read(DataWire(5.0))
    assert pause_ns == 0
    assert np.array_equal(data, DATA)
    assert not DataWire(5.0).disturbs


@pytest.mark.parametrize(
    ("rail_v", "reads"), [(5.0, False), (4.8, False), (4.7, True), (4.5, True)]
)
def test_logic_of_3v3_is_enough_up_to_a_rail_of_4v71(rail_v, reads):
    """WS2812B datasheet: VIH is 0.7 VDD, and 3.3 / 0.7 = 4.71."""
    [(*_, data)] = read(DataWire(3.3), rail_v)
    assert (data.size == DATA.size) == reads
    assert data.size == 0 or np.array_equal(data, DATA)


@pytest.mark.parametrize(("volts", "reads"), [(5.0, True), (3.3, False)])
def test_logic_of_a_12_v_strip_runs_from_5_v(volts, reads):
    """No source for the 5 V inside; with them 0.7 VDD is 3.5 V, not 8.4 V."""
    [(*_, data)] = read(replace(DataWire(volts), noise_v=0.01), rail_v=12.0)
    assert np.array_equal(data, DATA) == reads


def test_the_chance_to_miss_a_pulse_is_the_tail_of_the_normal_distribution():
    """scipy.stats.norm.sf of margin over noise; and as many are missed of many."""
    way = replace(DataWire(3.3), noise_v=0.1)
    for rail_v in (4.5, 4.7, 4.9):
        margin_v = 3.3 - 0.7 * rail_v
        assert pulse(True, WIRE, way, rail_v, 0).missed == pytest.approx(
            stats.norm.sf(margin_v / 0.1), rel=1e-9
        )
    many = np.full(20_000, 0xAA, dtype=np.uint8)
    [(*_, data)] = read(way, 4.6, data=many)
    expected = 8 * many.size * stats.norm.sf((3.3 - 0.7 * 4.6) / 0.1)
    # A lost bit is lost for good; what is left is cut to whole bytes.
    assert 8 * (many.size - data.size) == pytest.approx(expected, rel=0.05)


def test_strong_noise_makes_pulses_too():
    """Of 160,000 bits, with 2 V of noise: missed by Q(1.5 V), and made in the lows by Q(3.5 V)."""
    many = np.full(20_000, 0xF0, dtype=np.uint8)
    [(*_, data)] = read(replace(DataWire(5.0), noise_v=2.0), data=many)
    expected = 8 * many.size * (1 - stats.norm.sf(1.5 / 2) + stats.norm.sf(3.5 / 2))
    assert 8 * data.size == pytest.approx(expected, rel=0.01)
    # What is made is short: a 0. So fewer than half of the bits are ones.
    ones = np.unpackbits(data).sum()
    assert ones == pytest.approx(4 * many.size * (1 - stats.norm.sf(1.5 / 2)), rel=0.01)


def test_one_lost_bit_moves_all_after_it():
    """Of 0x80 0x80 …, one bit less makes 0x01 0x01 … from there on: every chip keeps 24 bits."""
    way = replace(DataWire(5.0), noise_v=0.45)  # a margin of 3.3 standard deviations
    many = np.full(300, 0x80, dtype=np.uint8)
    [(*_, data)] = read(way, data=many, seed=3)
    assert 0 < many.size - data.size <= 2
    assert data[0] == 0x80
    assert set(data[-20:].tolist()) <= {1 << n for n in range(8)} - {0x80}


@pytest.mark.parametrize(("lift_v", "reads"), [(0.0, True), (1.0, True), (1.4, True), (1.6, False)])
def test_a_lifted_ground_takes_from_the_level(lift_v, reads):
    """5 V less the lift must still be 3.5 V above the ground of a chip at 5 V."""
    [(*_, data)] = read(DataWire(5.0), lift_v=lift_v)
    assert (data.size > 0) == reads


def test_a_ground_far_below_holds_the_line_high():
    """With its ground 4 V below the controller's, the chip sees 4 V of low: no pulse at all."""
    assert [piece.read.size for piece in read(DataWire(5.0), lift_v=-4.0)] == [0]


def test_an_rc_wire_shortens_pulses_as_the_closed_form_says():
    """Rise 1 − e^(−t/τ) to 0.7, fall from the peak to 0.7: solved here by bisection."""
    tau_ns, level = 120.0, 0.7

    def crossing(function, low, high):
        for _ in range(60):
            middle = (low + high) / 2
            low, high = (middle, high) if function(middle) > 0 else (low, middle)
        return low

    for bit, high_ns in ((False, 400), (True, 800)):
        peak = 1 - math.exp(-high_ns / tau_ns)
        up = crossing(lambda t: level - (1 - math.exp(-t / tau_ns)), 0, high_ns)
        down = crossing(lambda t, peak=peak: peak * math.exp(-t / tau_ns) - level, 0, 1e4)
        seen_ns = high_ns - up + down
        way = replace(DataWire(5.0), tau_ns=tau_ns)
        # The chip's threshold is 600 ns: at just above `seen_ns` over 600 the 1 turns into a 0.
        found = pulse(bit, WIRE, way, 5.0, 0.0)
        assert found.one == (seen_ns >= WIRE.threshold_ns)
        assert found.missed == 0
        shorter = replace(way, stretch=1.0)
        assert pulse(bit, WIRE, shorter, 5.0, 0.0) == found
    # A 0 of 400 ns no longer reaches 0.7 where 1 − e^(−400/τ) < 0.7: τ > 332 ns.
    assert pulse(False, WIRE, replace(DataWire(5.0), tau_ns=330), 5.0, 0).missed == 0
    assert pulse(False, WIRE, replace(DataWire(5.0), tau_ns=335), 5.0, 0).missed == 1


@pytest.mark.parametrize(
    ("percent", "value"), [(-30, 0), (-20, None), (-3, None), (3, None), (40, None), (60, 255)]
)
def test_a_clock_off_by_a_few_per_cent_changes_nothing(percent, value):
    """WS2812B datasheet: 400 and 800 ns high; the threshold midway is 600 ns, so −25 % to +50 %."""
    [(*_, data)] = read(replace(DataWire(5.0), stretch=1 + percent / 100))
    assert np.array_equal(data, DATA if value is None else np.full(600, value))


def test_a_pause_cuts_the_frame_in_two():
    pieces = read(replace(DataWire(5.0), pause_ns=300_000))
    assert [piece.pause_ns for piece in pieces] == [0, 300_000]
    for name in ("sent", "read"):
        assert np.array_equal(np.concatenate([getattr(piece, name) for piece in pieces]), DATA)


def test_a_clocked_chip_reads_weak_ones_as_zeros():
    way = replace(DataWire(3.3), noise_v=0.01)
    [(*_, data)] = disturbed(DATA, chip("APA102").wire, way, 5.0, 0.0, np.random.default_rng(0))
    assert data.size == 0  # the clock is too low, too
