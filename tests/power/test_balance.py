from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator.power.balance import balance
from emulator.power.network import build_network
from emulator.power.solve import TOLERANCE_A, solve_rails
from emulator.power.worst import uniform_drives
from tests.power.walls import powered_walls, random_drives, wall


# Conservation of energy and of charge, to 1e-6 and what the solver's tolerance leaves open.
@given(powered_walls(), st.integers(0, 999))
def test_supply_power_is_led_power_and_wire_losses(display, seed):
    network = build_network(display)
    rails = solve_rails(network, random_drives(display, 3, seed), display.chip)
    found = balance(network, rails)
    open_a = 2 * TOLERANCE_A
    accounted = found.led_w + found.loss_w
    highest_v = network.supply_volts.max()
    assert found.supplied_w == pytest.approx(accounted, rel=1e-6, abs=open_a * highest_v)
    drawn = rails.led_current_a.sum(axis=1)
    assert rails.total_current_a == pytest.approx(drawn, rel=1e-6, abs=open_a)
    assert (found.wire_loss_w >= 0).all()


@pytest.mark.parametrize("level", [0.0, 0.3, 1.0])
@pytest.mark.parametrize("amps", [6.0, 100.0])
def test_energy_balances_to_a_millionth_on_a_whole_wall(level, amps):
    display = wall(24, 24, f"[[power.supply]]\namps={amps}\n")
    network = build_network(display)
    rails = solve_rails(network, uniform_drives(display, level), display.chip)
    found = balance(network, rails)
    assert found.supplied_w == pytest.approx(found.led_w + found.loss_w, rel=1e-6)


def test_each_wire_carries_what_lies_behind_it():
    display = wall(4, 2, "")
    network = build_network(display)
    rails = solve_rails(network, uniform_drives(display, 1.0), display.chip)
    found = balance(network, rails)
    amps = {
        (wire.kind, wire.name): current
        for wire, current in zip(network.wires, found.wire_current_a[0], strict=True)
    }
    led_a = 0.061
    assert amps == pytest.approx(
        {
            ("rail", "run 0"): 3 * led_a,
            ("rail", "run 1"): 3 * led_a,
            ("bus", "bus of supply 0, to feed 0"): 8 * led_a,
            ("bus", "bus of supply 0, to feed 1"): 4 * led_a,
            ("feed", "feed 0, line 0 LED 0"): 4 * led_a,
            ("feed", "feed 1, line 0 LED 7"): 4 * led_a,
        },
        abs=1e-6,
    )


def test_drop_and_loss_of_a_feed_are_ohms_law():
    display = wall(3, 1, "[power]\nfeed=[{led=0,mm2=0.5,length_m=2.0,connector_mohm=0}]\n")
    network = build_network(display)
    rails = solve_rails(network, uniform_drives(display, 1.0), display.chip)
    found = balance(network, rails)
    feed = [wire.kind for wire in network.wires].index("feed")
    current, ohm = 3 * 0.061, 2 / 58 / 0.5  # IEC 60028, one conductor
    assert found.wire_drop_v[0, feed] == pytest.approx(current * 2 * ohm, rel=1e-6)
    assert found.wire_loss_w[0, feed] == pytest.approx(current**2 * 2 * ohm, rel=1e-6)


def test_drops_along_the_way_add_up_to_what_the_last_led_lacks():
    display = wall(30, 1)
    network = build_network(display)
    rails = solve_rails(network, uniform_drives(display, 1.0), display.chip)
    found = balance(network, rails)
    lacking = network.supply_volts[0] - rails.led_volts.min()
    assert found.wire_drop_v.sum() == pytest.approx(lacking, abs=1e-5)


def test_unequal_supplies_on_one_strip_share_by_ground_what_they_do_not_by_plus():
    display = wall(
        10, 1,
        "[power]\nfeed=[{led=0},{led=9,supply=1}]\n"
        "[[power.supply]]\nvolts=5.0\n[[power.supply]]\nvolts=5.005\n",
    )  # fmt: skip
    network = build_network(display)
    rails = solve_rails(network, uniform_drives(display, 0.5), display.chip)
    # By hand: in + the higher supply pushes current towards the lower one, 5 mV over feeds and
    # rail of one conductor, on top of the half of the load each would carry.
    feed = float(network.ohm[network.wire == 1][0])
    rail = float(network.ohm[network.wire == 0].sum())
    load_a = rails.led_current_a.sum()
    pushed = 0.005 / (2 * feed + rail)
    assert rails.supply_current_a[0, 1] == pytest.approx(load_a / 2 + pushed, rel=1e-4)
    assert rails.supply_current_a[0, 0] == pytest.approx(load_a / 2 - pushed, rel=1e-3)
    assert rails.supply_current_a[0, 0] > 0.02
    found = balance(network, rails)
    assert found.supplied_w == pytest.approx(found.led_w + found.loss_w, rel=1e-6)
    assert np.isfinite(found.wire_current_a).all()
