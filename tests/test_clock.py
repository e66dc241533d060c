from __future__ import annotations

from emulator import RealClock, SimulatedClock


def test_a_simulated_clock_jumps_and_never_goes_back():
    clock = SimulatedClock()
    assert clock.now_ns() == 0
    clock.wait_until(36_000_000_000_000)
    clock.wait_until(5)
    assert clock.now_ns() == 36_000_000_000_000


def test_a_real_clock_waits_until_the_time_it_was_given():
    clock = RealClock()
    clock.wait_until(2_000_000)
    assert clock.now_ns() >= 2_000_000
    clock.wait_until(0)
