from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emulator.power.network import build_network
from emulator.power.solve import Rails, solve_rails
from emulator.power.supply import run_supplies
from emulator.power.worst import uniform_drives
from tests.power.walls import random_drives, wall

TRIPS = "[[power.supply]]\namps=1.0\noverload='trip'\nretry_s=0.5\n"
TENTH_NS = 100_000_000


def frames(display, levels):
    """One frame for each level, a tenth of a second apart."""
    drives = np.concatenate([uniform_drives(display, level) for level in levels])
    return drives, np.arange(len(levels), dtype=np.int64) * TENTH_NS


def equal(a: Rails, b: Rails) -> bool:
    return all(
        np.allclose(getattr(a, name), getattr(b, name), rtol=0, atol=1e-4)
        for name in ("led_volts", "led_current_a", "delivered", "supply_current_a")
    )


# 40 LEDs at full white ask 2.44 A of a supply of 1 A; dark they take 0.04 A.
def test_a_supply_trips_waits_retries_and_trips_again_until_the_load_is_gone():
    display = wall(20, 2, TRIPS)
    drives, times_ns = frames(display, [0, 0.1, 1, 0, 0, 0, 0, 1, 1, 0, 0, 0, 0, 0])
    got = run_supplies(build_network(display), drives, display.chip, times_ns)
    # Trips at 0.2 s, off to 0.7 s, is overloaded again then, off to 1.2 s, and stays on.
    assert got.on[:, 0].tolist() == [True] * 2 + [False] * 10 + [True] * 2
    assert got.rails.converged.all()
    assert got.rails.led_volts[2:12].max() < 0.01
    assert got.rails.led_volts[12:].min() > 4.9
    assert got.off_until_ns.tolist() == [1_200_000_000]


def test_a_supply_stays_on_when_its_retry_finds_the_load_gone():
    display = wall(20, 2, TRIPS)
    drives, times_ns = frames(display, [1, 0, 0, 0, 0, 0, 0, 0, 1, 0])
    got = run_supplies(build_network(display), drives, display.chip, times_ns)
    assert got.on[:, 0].tolist() == [False] * 5 + [True] * 3 + [False] * 2
    assert got.off_until_ns.tolist() == [1_300_000_000]


@pytest.mark.slow
@given(st.integers(0, 999), st.integers(1, 39))
@settings(max_examples=20)
def test_two_calls_with_the_state_carried_over_are_one_call(seed, cut):
    display = wall(6, 2, TRIPS.replace("1.0", "0.3"))
    network = build_network(display)
    drives = random_drives(display, 40, seed)
    drives[np.random.default_rng(seed).random(40) < 0.8] //= 4
    times_ns = np.arange(40, dtype=np.int64) * TENTH_NS
    whole = run_supplies(network, drives, display.chip, times_ns)
    first = run_supplies(network, drives[:cut], display.chip, times_ns[:cut])
    rest = run_supplies(network, drives[cut:], display.chip, times_ns[cut:], first.off_until_ns)
    assert whole.on.tolist() == first.on.tolist() + rest.on.tolist()
    assert equal(whole.rails, Rails(*(
        np.concatenate([getattr(first.rails, n), getattr(rest.rails, n)])
        for n in Rails.__dataclass_fields__
    )))  # fmt: skip
    # A supply that is on is never found over its amps; one that is off gives nothing.
    amps = whole.rails.supply_current_a
    assert (amps <= 0.3).all()
    assert (amps[~whole.on] == 0).all()
    assert (whole.on[:, 0] | (times_ns < whole.off_until_ns[0])).all()


def test_one_of_two_supplies_trips_and_the_other_carries_on():
    display = wall(20, 2, TRIPS + "[[power.supply]]\namps=9\n")  # a row each
    drives, times_ns = frames(display, [0, 1, 1])
    drives[1:, 20:] //= 2
    got = run_supplies(build_network(display), drives, display.chip, times_ns)
    assert got.on.tolist() == [[True, True], [False, True], [False, True]]
    assert got.rails.led_volts[1:, :20].max() < 0.01
    assert got.rails.led_volts[1:, 20:].min() > 4.5


def test_a_trip_drags_down_the_supply_that_shares_its_strip():
    joined = "[power]\nfeed=[{led=0},{led=19,supply=1}]\n"
    display = wall(20, 1, joined + TRIPS.replace("1.0", "0.5") + TRIPS)
    drives, times_ns = frames(display, [0, 1])
    got = run_supplies(build_network(display), drives, display.chip, times_ns)
    # 1.22 A in all: 0.61 A each, too much for the first; then 1.22 A for the second.
    assert got.on.tolist() == [[True, True], [False, False]]


def test_supplies_that_fold_back_need_no_history():
    display = wall(20, 2, "[[power.supply]]\namps=1.0\n")
    drives, times_ns = frames(display, [0, 1, 0.5, 0])
    network = build_network(display)
    got = run_supplies(network, drives, display.chip, times_ns)
    assert equal(got.rails, solve_rails(network, drives, display.chip))
    assert got.rails.supply_current_a[1, 0] == 1.0
    assert got.on.all()


def test_no_frames_give_no_frames():
    display = wall(3, 1, TRIPS)
    drives, times_ns = frames(display, [1])
    got = run_supplies(build_network(display), drives[:0], display.chip, times_ns[:0])
    assert got.rails.led_volts.shape == (0, 3)
    assert got.on.shape == (0, 1)
    assert pytest.approx(0) == got.rails.total_current_a.sum()
