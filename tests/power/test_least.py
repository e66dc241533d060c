"""The lower bound of volts, and frames on walls of their own, against walls one by one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from emulator.description.faults.built import PowerJoint
from emulator.power.joints import with_joints
from emulator.power.least import Lines, enough_v, nominal_a
from emulator.power.network import build_network
from emulator.power.solve import solve_each, solve_rails
from tests.power.walls import wall

POWER = "[power]\nfeed=[{led=0},{led=59}]\nsupply=[{amps=3}]\n"
JOINTS = (
    PowerJoint("plus", "rail", 20, 1e9),
    PowerJoint("ground", "rail", 3, 2.0),
    PowerJoint("both", "feed", 0, 1e9),
    PowerJoint("plus", "feed", 1, 0.3),
)


def walls():
    display = wall(60, 1, POWER)
    network = build_network(display)
    volts = np.array([4.4])
    low = replace(network)
    low.__dict__["supply_volts"] = volts  # a cached property
    networks = [network, low, *(with_joints(network, [joint]) for joint in JOINTS)]
    drives = np.random.default_rng(1).integers(0, 256, (len(networks), 60, 3), dtype=np.uint8)
    return display, networks, drives


def test_a_stack_of_walls_is_each_by_itself():
    display, networks, drives = walls()
    stack = solve_each(networks, drives, display.chip)
    assert stack.converged.all()
    for number, network in enumerate(networks):
        alone = solve_rails(network, drives[number, None], display.chip)
        assert np.allclose(stack.led_volts[number], alone.led_volts[0], atol=1e-6)
        assert np.allclose(stack.supply_current_a[number], alone.supply_current_a[0], atol=1e-6)


def test_no_led_gets_less_than_the_bound_and_where_all_have_enough_it_is_exact():
    display, networks, drives = walls()
    for dim in (drives, drives // 8):
        least = Lines(networks).least(nominal_a(dim, display.chip))
        rails = solve_each(networks, dim, display.chip, np.inf)
        assert (least.volts <= rails.led_volts + 1e-6).all()
        calm = (least.volts >= enough_v(display.chip)).all(axis=1)
        assert np.allclose(least.volts[calm], rails.led_volts[calm], atol=1e-6)
        assert np.allclose(least.supply_a[calm], rails.supply_current_a[calm], atol=1e-6)
    assert calm.any()
