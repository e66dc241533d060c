from __future__ import annotations

import math

import numpy as np
import pytest

from emulator import ForeglowError, load_display
from emulator.power.balance import balance
from emulator.power.network import build_network
from emulator.power.plan import plan_power
from emulator.power.solve import solve_rails
from emulator.power.wire import CAUTION, FUSE_MARGIN, ampacity_a
from emulator.power.worst import uniform_drives, worst_frames
from tests.power.walls import wall
from tests.tables import telling

SERIES = "[power]\nfeed=[{led=0}]\njumper={awg=18}\n"


def lowest(display, power, level=1.0):
    network = build_network(display, power)
    rails = solve_rails(network, uniform_drives(display, level), display.chip, np.inf)
    return rails, network


@pytest.mark.parametrize(
    ("demo", "least_v"),
    telling(
        [(demo, least_v) for demo in ("foyer", "banner", "sign") for least_v in (4.2, 4.5, 4.8)],
        lambda case: case in {("foyer", 4.5), ("banner", 4.2), ("sign", 4.8)},
    ),
)
def test_the_plan_for_a_demo_keeps_its_promise_when_solved_afresh(demo, least_v):
    display = load_display(demo)
    plan = plan_power(display, least_v)
    assert plan.possible
    network = build_network(display, plan.after.power)
    frames = worst_frames(display, network, display.power.limit_a)
    rails = solve_rails(network, frames, display.chip, np.inf)
    assert rails.converged.all()
    assert rails.led_volts.min() >= least_v
    assert rails.led_volts.min() == pytest.approx(plan.after.lowest_v, abs=1e-9)
    assert (rails.supply_current_a <= 0.8 * network.supply_amps).all()  # the 80 % rule
    most_a = balance(network, rails).wire_current_a.max(axis=0)
    for wire, amps in zip(network.wires, most_a, strict=True):
        if wire.kind in ("feed", "bus"):
            assert FUSE_MARGIN * amps <= ampacity_a(wire.area_mm2)


def test_before_is_the_display_as_it_stands():
    display = wall(24, 24, SERIES)
    plan = plan_power(display, 4.5)
    rails, _ = lowest(display, display.power)
    assert plan.before.lowest_v == pytest.approx(rails.led_volts.min())
    assert (plan.before.line, plan.before.led_on_line) == (0, 575)
    assert plan.after.lowest_v > plan.before.lowest_v + 2


# Closed form: k feeds in the middles of n/k LEDs each, far from the ends of a strip of constant
# currents; the drop along a half piece is ½ · (half the piece's current) · (its loop resistance).
def test_the_number_of_feeds_is_the_fewest_the_rail_allows():
    # A thin rail, beside which the feeds' own wires, up to 2 m of them, hardly count.
    display = wall(60, 1, "[power]\nrail_ohm_per_m=1.6\nfeed=[{led=0}]\n")
    plan = plan_power(display, 4.75)
    assert plan.possible
    feeds = len(plan.after.power.feed)

    def rail_drop(count: int) -> float:
        half = 60 / count / 2
        step_ohm = 2 * display.power.rail_ohm_per_m * display.grid.pitch_mm / 1000
        return 0.5 * half * 0.061 * half * step_ohm

    needed = next(count for count in range(1, 60) if rail_drop(count) < 0.25)
    assert needed <= feeds <= needed + 1  # one is at the end, where the file has it


def test_more_is_asked_for_with_more_light():
    display = wall(24, 24, SERIES)
    feeds = [len(plan_power(display, 4.7, level).after.power.feed) for level in (0.1, 0.4, 1.0)]
    assert feeds == sorted(feeds)
    assert feeds[0] < feeds[2]


def test_the_impossible_is_told_with_the_place_and_the_best_there_is():
    display = load_display("foyer")
    plan = plan_power(display, 4.99)
    assert not plan.possible
    assert f"still gets {plan.after.lowest_v:.2f} V" in plan.reason
    assert f"LED {plan.after.led_on_line} of line {plan.after.line}" in plan.reason
    assert plan.before.lowest_v < plan.after.lowest_v < 4.99


def test_a_bus_too_thin_for_its_current_is_made_thicker():
    """At 2.5 V the voltage asks for nothing; the guidance on ampacity does."""
    plan = plan_power(wall(24, 24), 2.5)
    assert plan.possible
    gauge = plan.after.power.bus[0].awg
    (amps,) = plan.after.supply_a
    assert amps == pytest.approx(35.1, abs=0.1)
    assert gauge is not None
    assert gauge <= 10


def test_supplies_too_small_for_80_percent_are_made_larger_and_others_stay():
    # Common practice, no source: a supply is loaded to 80 %. 576 LEDs of 61 mA.
    small, large = (
        plan_power(wall(24, 24, f"[[power.supply]]\namps={amps}\n"), 4.5).after.power.supply[0].amps
        for amps in (30, 60)
    )
    assert (small, large) == (math.ceil(576 * 0.061 / 0.8), 60)


def test_every_plan_carries_the_caution():
    assert plan_power(wall(3, 1), 4.5).caution == CAUTION
    assert plan_power(wall(3, 1), 6.0).caution == CAUTION


@pytest.mark.parametrize(
    ("least_v", "level"), [(0, 1), (-1, 1), (math.nan, 1), (math.inf, 1), (4, 1.1), (4, -0.1)]
)
def test_absurd_wishes_are_refused(least_v, level):
    with pytest.raises(ForeglowError, match="Fix"):
        plan_power(wall(3, 1), least_v, level)
