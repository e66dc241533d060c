"""The graph of a display: which wires there are, and their resistance."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator import load_display, parse_display
from emulator.power.network import build_network
from tests.power.walls import wall


def ohms(network, kind):
    return [
        float(network.ohm[network.wire == number].sum())
        for number, wire in enumerate(network.wires)
        if wire.kind == kind
    ]


# IEC 60028: 1/58 Ω·mm²/m at 20 °C and 0.00393 /K: 21.6 % more at 75 °C.
def test_wires_and_rails_have_the_resistance_of_their_length_and_temperature():
    text = """[power]
rail_ohm_per_m = 0.1
feed = [{led=0, mm2=1.0, length_m=2.9, connector_mohm=4}]
jumper = {mm2=0.5, length_m=0.29, connector_mohm=1}
[[power.bus]]
mm2 = 2.0
to_first_m = 1.16
"""
    cold = build_network(wall(4, 2, text))
    assert ohms(cold, "rail") == pytest.approx([3 * 0.1 / 30] * 2)
    assert ohms(cold, "feed") == pytest.approx([2.9 / 58 + 0.004])
    assert ohms(cold, "jumper") == pytest.approx([0.29 / 58 / 0.5 + 0.001])
    assert ohms(cold, "bus") == pytest.approx([1.16 / 58 / 2])
    warm = build_network(wall(4, 2, text.replace("[power]\n", "[power]\ncopper_c = 75\n")))
    factor = 1 + 0.00393 * 55
    assert ohms(warm, "rail") == pytest.approx([factor * 3 * 0.1 / 30] * 2)
    assert ohms(warm, "feed") == pytest.approx([factor * 2.9 / 58 + 0.004])  # contacts stay


def test_every_led_hangs_on_a_supply_and_every_run_is_a_wire():
    display = load_display("foyer")
    network = build_network(display)
    assert [w.name for w in network.wires if w.kind == "rail"] == [
        f"run {number}" for number in range(len(display.wiring.runs))
    ]
    reached = set(network.terminals.tolist())
    for _ in range(network.nodes):
        before = len(reached)
        for a, b in network.ends.tolist():
            if a in reached or b in reached:
                reached |= {a, b}
        if len(reached) == before:
            break
    assert reached == set(range(network.nodes))


def test_the_two_sides_of_a_gap_are_two_strips_that_a_jumper_joins():
    text = """[grid]
columns = 6
rows = 1
pitch_mm = 100
gaps = [{column=2, row=0, columns=2}]
[chip]
part = "WS2812B"
[[line]]
run = [{from=[0,0], to=[5,0]}]
[power]
feed = [{led=0}]
jumper = {}
"""
    display = parse_display(text, Path("wall.toml"))
    lengths = [w.length_m for w in build_network(display).wires if w.kind == "rail"]
    assert lengths == pytest.approx([0.1, 0.1])
    (jumper,) = (w for w in build_network(display).wires if w.kind == "jumper")
    assert jumper.name == "run 0 to 1"


def test_rows_are_stepped_at_the_row_pitch_along_columns():
    text = "[grid]\ncolumns=2\nrows=3\npitch_mm=10\nrow_pitch_mm=80\n[chip]\npart='WS2812B'\n"
    display = parse_display(text + "[wiring]\nalong='columns'\n", Path("wall.toml"))
    lengths = [w.length_m for w in build_network(display).wires if w.kind == "rail"]
    assert lengths == pytest.approx([0.16, 0.16])


def test_jumpers_join_the_runs_of_a_line_but_not_two_lines():
    text = "[grid]\ncolumns=3\nrows=4\n[chip]\npart='WS2812B'\n[wiring]\nlines=2\n"
    display = parse_display(text + "[power]\njumper={awg=20}\n", Path("wall.toml"))
    network = build_network(display)
    jumped = [network.ends[network.wire == n][0].tolist() for n, w in enumerate(network.wires)
              if w.kind == "jumper"]  # fmt: skip
    assert jumped == [[2, 3], [8, 9]]


def test_supplies_that_share_no_strip_are_not_linked():
    apart = build_network(wall(3, 2, "[[power.supply]]\n[[power.supply]]\n"))
    assert len(apart.pair_s) == len(apart.ends)
    joined = build_network(
        wall(3, 2, "[power]\njumper={}\n[[power.supply]]\n[[power.supply]]\nvolts=5.1\n")
    )
    # By hand: the one path between the terminals, in one conductor, halved.
    assert joined.pair_s[-1] == pytest.approx(0.5 / path_ohm(joined), rel=1e-6)


def path_ohm(network):
    """Resistance of one conductor from terminal to terminal where there is only one path: its
    two buses and feeds, the rails between the feeds (LEDs 0 and 5), and the jumper."""
    wires = np.array([w.kind for w in network.wires])
    return (
        sum(ohms(network, "bus")) + sum(ohms(network, "feed"))
        + sum(ohms(network, "rail")) + network.ohm[network.wire == np.argmax(wires == "jumper")][0]
    )  # fmt: skip


@given(st.data())
def test_parts_are_what_wires_join(data):
    """Against scipy's connected components."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    nodes = data.draw(st.integers(1, 40))
    node = st.integers(0, nodes - 1)
    ends = np.array(data.draw(st.lists(st.tuples(node, node), max_size=60)), np.int64).reshape(
        -1, 2
    )
    network = replace(build_network(wall(2, 1, "")), nodes=nodes, ends=ends)
    joined = coo_array((np.ones(len(ends)), ends.T), shape=(nodes, nodes))
    part = connected_components(joined, directed=False)[1]
    lowest = [int(np.flatnonzero(part == own)[0]) for own in part]
    assert network.parts.tolist() == lowest


# Three supplies on one strip, one on the other.
def test_terminals_of_one_strip_are_linked_and_of_others_not():
    power = """[power]
supply = [{volts=5, amps=9}, {volts=5, amps=9}, {volts=5, amps=9}, {volts=5, amps=9}]
feed = [{led=0, supply=0}, {led=8, supply=1}, {led=7, supply=2}, {led=3, supply=3}]
"""
    network = build_network(wall(8, 2, power))
    pairs = {frozenset((pair - network.leds).tolist()) for pair in network._links[0]}
    assert pairs == {frozenset({0, 3}), frozenset({2, 3}), frozenset({0, 2})}
