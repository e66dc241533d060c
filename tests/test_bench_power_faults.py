"""Faults of the power on the bench: what LEDs get, and chips that reset."""

from __future__ import annotations

import numpy as np
import pytest

from emulator import Bench, chip, shorthand
from emulator.clock import SECOND_NS
from emulator.description.display import Display
from emulator.description.power import FeedSection, JumperSection, PowerSection, SupplySection
from emulator.description.sections import Grid
from emulator.errors import FaultError

WHITE = np.full(40 * 3, 255, dtype=np.uint8)


def wall(*feeds, amps=20.0, jumper=None, rows=1):
    wiring = shorthand(np.zeros((rows, 40 // rows), dtype=bool))
    power = PowerSection(
        supply=[SupplySection(volts=5.0, amps=amps)],
        feed=[FeedSection(led=led) for led in feeds or (0,)],
        jumper=jumper,
    )
    grid = Grid(columns=40 // rows, rows=rows)
    return Display("wall", grid, chip("WS2812B"), wiring, power=power)


def lit(display, *faults, frames=1):
    bench = Bench(display, faults=faults)
    for _ in range(frames):
        bench.send_frame(WHITE)
    return bench


@pytest.mark.parametrize("conductor", ["plus", "ground"])
def test_an_open_joint_of_one_conductor_darkens_what_is_behind_it(conductor):
    bench = lit(wall(), f"power-joint after=9 conductor={conductor}")
    assert bench.rail_volts()[:10].min() > 4.5
    assert bench.rail_volts()[10:].max() < 0.01
    assert not bench.light[10:].any()
    assert (bench.light[:10].min(axis=1) > 0.9).all()
    # 10 of 40 LEDs are left: 61 mA each at full white.
    assert bench.current() == pytest.approx(0.61, abs=0.01)


def test_behind_another_feed_an_open_ground_joint_only_shifts_the_ground():
    """Fed at both ends, each side hangs on its own feed; without faults both share."""
    bench = lit(wall(0, 39), "power-joint after=9 conductor=ground")
    assert bench.rail_volts().min() > 4.3
    assert bench.drives.min() == 255


def test_a_joint_of_some_ohms_drops_what_ohm_says():
    """30 LEDs of 61 mA behind 0.2 Ω: all lose 1.83 A × 0.2 Ω = 0.37 V there, all in +."""
    healthy, bench = lit(wall()), lit(wall(), "power-joint after=9 conductor=plus ohm=0.2")
    step_v = healthy.rail_volts()[9] - healthy.rail_volts()[10]
    found_v = bench.rail_volts()[9] - bench.rail_volts()[10]
    assert found_v - step_v == pytest.approx(30 * 0.061 * 0.2, rel=0.01)
    ground_v = bench.power.rails.ground_volts[0]
    assert ground_v[10] - ground_v[9] == pytest.approx(step_v / 2, rel=0.02)


def test_a_chip_without_supply_passes_no_data_on():
    """Two runs with a feed each: the second has power, and gets no data through the dark first."""
    display = wall(0, 20, rows=2)
    bench = lit(display, "feed-missing feed=0", frames=2)
    assert bench.rail_volts()[:20].max() < 0.01
    assert bench.rail_volts()[20:].min() > 4.9
    assert not bench.drives.any()
    assert not bench.light.any()
    swapped = lit(display, "feed-missing feed=1", frames=2)
    assert (swapped.drives[:20] == 255).all()
    assert not swapped.drives[20:].any()


def test_chips_below_their_least_voltage_reset_and_come_back_with_the_next_data():
    """Far from the feed white draws the rail below 3.5 V: chips reset; dim data find them up."""
    long = PowerSection(
        supply=[SupplySection(volts=5.0, amps=20.0)],
        feed=[FeedSection(led=0)],
        rail_ohm_per_m=1.2,
    )
    display = Display(
        "wall", Grid(columns=40, rows=1), chip("WS2812B"),
        shorthand(np.zeros((1, 40), dtype=bool)), power=long,
    )  # fmt: skip
    planned = lit(display)
    assert planned.rail_volts().min() < 3.5
    assert (planned.drives == 255).all()
    bench = lit(display, "chips-reset volts=3.5")
    dark = ~bench.drives.any(axis=1)
    assert dark[-1]
    assert not dark[0]
    assert dark.tolist() == sorted(dark.tolist())
    assert bench.rail_volts().min() > 3.5  # those that went dark draw no more
    bench.send_frame(np.full(120, 20, dtype=np.uint8))
    assert (bench.drives == 20).all()


def test_a_thin_wire_drops_what_its_gauge_says():
    """0.1 m of AWG 36, 1361 Ω/km (ASTM B258 and IEC 60028), for 2.44 A and back."""
    healthy, thin = lit(wall()), lit(wall(), "wrong-gauge feed=0 awg=36")
    amps = thin.current()
    before = healthy.current() * (healthy.rail_volts()[0] - 5.0)
    dropped_v = 5.0 - thin.rail_volts()[0]
    wire_v = dropped_v + before * amps / healthy.current() ** 2
    planned_ohm = 2 * 0.1 * 0.02095 + 0  # AWG 18
    assert wire_v == pytest.approx(amps * (2 * 0.1 * 1.361 - planned_ohm), rel=0.01)


def test_supplies_that_are_small_low_or_trip():
    display = wall()
    small = lit(display, "supply-small amps=1.0")
    assert small.current() == pytest.approx(1.0)
    assert small.rail_volts().max() < 3.7
    low = lit(display, "supply-low volts=4.5")
    assert low.rail_volts().max() == pytest.approx(4.5, abs=0.1)
    trips = Bench(display, faults=["supply-trips amps=1.0 retry_s=0.5"])
    seen = []
    for number in range(20):
        trips.clock.wait_until(number * SECOND_NS // 10)
        trips.send_frame(WHITE if number == 3 else WHITE // 8)
        seen.append(bool(trips.light.any()))
    assert seen[:3] == [True] * 3
    assert seen[3:8] == [False] * 5
    assert seen[9:] == [True] * 11


def test_a_loose_power_joint_comes_and_goes():
    bench = Bench(
        wall(), faults=["power-joint after=19 conductor=plus share=0.5 spell_s=0.3 seed=2"]
    )
    seen = []
    for number in range(40):
        bench.clock.wait_until(number * SECOND_NS // 10)
        bench.send_frame(WHITE)
        seen.append(bool(bench.light[30:].any()))
        assert bench.light[:20].any()
    assert 8 < seen.count(False) < 32


def test_power_passes_a_joint_between_runs_only_over_a_jumper():
    with pytest.raises(FaultError, match="no power passes behind LED 19"):
        Bench(wall(0, 20, rows=2), faults=["power-joint after=19 conductor=plus"])
    jumped = wall(0, rows=2, jumper=JumperSection())
    bench = lit(jumped, "power-joint after=19 conductor=plus")
    assert bench.rail_volts()[20:].max() < 0.01
