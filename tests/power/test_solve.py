from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator.power import solve
from emulator.power.network import build_network
from emulator.power.solve import solve_rails
from emulator.power.worst import uniform_drives
from tests.power.walls import powered_walls, random_drives, wall

SERIES = "[power]\nfeed=[{led=0}]\njumper={awg=18}\n"


def lit(display, level, most_a=np.inf):
    network = build_network(display)
    return solve_rails(network, uniform_drives(display, level), display.chip, most_a)


# Closed forms for N constant currents I along a rail of n = N − 1 steps of loop resistance r.
def test_a_rail_fed_at_one_end_drops_half_of_total_current_times_total_resistance():
    display = wall(60, 1, "[power]\nfeed=[{led=0}]\n")
    rails = lit(display, 0.2)
    current_a = 60 * (3 * 51 / 255 * 0.020 + 0.001)
    loop_ohm = 59 * 2 * display.power.rail_ohm_per_m * display.grid.pitch_mm / 1000
    assert rails.led_volts.min() > 3.6  # every channel has its headroom: currents are constant
    assert rails.total_current_a[0] == pytest.approx(current_a, abs=1e-6)
    drop = rails.led_volts[0, 0] - rails.led_volts[0, -1]
    assert drop == pytest.approx(current_a * loop_ohm / 2, rel=1e-6)


def test_a_rail_fed_at_both_ends_drops_an_eighth_in_the_middle():
    display = wall(61, 1, "[power]\nfeed=[{led=0},{led=60}]\n")
    rails = lit(display, 0.2)
    # The two end LEDs take their current at the feeds; half of each counts along the rail.
    current_a = 60 * (3 * 51 / 255 * 0.020 + 0.001)
    loop_ohm = 60 * 2 * display.power.rail_ohm_per_m * display.grid.pitch_mm / 1000
    volts = rails.led_volts[0]
    assert volts.argmin() == 30
    assert volts[0] - volts[30] == pytest.approx(current_a * loop_ohm / 8, rel=1e-6)
    assert volts == pytest.approx(volts[::-1], abs=1e-9)


def test_feed_and_connectors_drop_current_times_their_resistance():
    display = wall(1, 1, "[power]\nfeed=[{led=0,mm2=0.5,length_m=2.0,connector_mohm=30}]\n")
    rails = lit(display, 1.0)
    # IEC 60028: 2 m of 0.5 mm² are 2/58/0.5 Ω; + and ground; 61 mA for one LED at full white.
    assert 5 - rails.led_volts[0, 0] == pytest.approx(0.061 * 2 * (2 / 58 / 0.5 + 0.03), abs=1e-6)


# Rows in series drop as the square of the length: 24 rows of 24 in series about 24² = 576 times
# as much along the rails as one row, as long as every LED holds its current.
def test_24_rows_in_series_sag_hundreds_of_times_more_than_in_parallel():
    series, parallel = wall(24, 24, SERIES), wall(24, 24)
    dark_series, dark_parallel = (lit(d, 0.0).led_volts[0] for d in (series, parallel))
    assert dark_series.min() > 3.6
    along_series = dark_series.max() - dark_series.min()
    along_parallel = dark_parallel[0] - dark_parallel[23]
    assert 500 < along_series / along_parallel < 700
    white_series, white_parallel = (lit(d, 1.0) for d in (series, parallel))
    assert white_parallel.led_volts.min() > 4.6
    assert white_series.led_volts.min() < 2
    assert (white_parallel.delivered == 1).all()
    assert white_series.delivered[0, -1].tolist() == [0, 0, 0]


def test_the_far_end_dims_and_reddens():
    rails = lit(wall(24, 24, SERIES), 0.3)
    red, green, blue = rails.delivered[0].T
    assert (np.diff(red) <= 1e-9).all()
    assert green == pytest.approx(blue)
    middle = rails.led_volts[0].searchsorted(3.3, sorter=np.arange(576)[::-1])
    assert red[575 - middle] > 3 * green[575 - middle]


@given(powered_walls(), st.integers(0, 999))
def test_any_wall_under_any_drive_converges_to_something_possible(display, seed):
    network = build_network(display)
    rails = solve_rails(network, random_drives(display, 4, seed), display.chip)
    assert rails.converged.all(), rails.residual_a
    total_a = rails.led_current_a.sum(axis=1)
    assert (rails.residual_a <= 1e-8 + 1e-7 * total_a).all()
    assert (rails.led_volts >= -1e-9).all()
    assert (rails.led_volts <= network.supply_volts.max() + 1e-9).all()
    assert (rails.supply_current_a >= 0).all()
    assert (rails.supply_current_a <= network.supply_amps).all()
    own_v = network.source_ohm * rails.supply_current_a
    below = rails.supply_volts < network.supply_volts - own_v - 1e-4
    assert (rails.supply_current_a == network.supply_amps)[below].all()
    above = rails.supply_volts > network.supply_volts + 1e-9
    assert (rails.supply_current_a == 0)[above].all()


@given(powered_walls(), st.integers(0, 999))
def test_a_stack_gives_what_its_frames_give_one_by_one(display, seed):
    network = build_network(display)
    drives = random_drives(display, 3, seed)
    stack = solve_rails(network, drives, display.chip)
    for number in range(3):
        one = solve_rails(network, drives[number : number + 1], display.chip)
        # Where the supply is in overload the voltage depends on the last 1e-8 A by far more.
        assert one.led_current_a[0] == pytest.approx(stack.led_current_a[number], abs=1e-6)
        assert one.led_volts[0] == pytest.approx(stack.led_volts[number], abs=1e-3)


@given(powered_walls(most_supplies=1, least_amps=3.9), st.integers(0, 999), st.data())
def test_brightening_one_led_raises_no_voltage(display, seed, data):
    network = build_network(display)
    drives = random_drives(display, 1, seed)
    brighter = drives.copy()
    brighter[0, data.draw(st.integers(0, display.leds - 1)), :3] = 255
    before = solve_rails(network, drives, display.chip, np.inf).led_volts
    after = solve_rails(network, brighter, display.chip, np.inf).led_volts
    assert (after <= before + 1e-6).all()


@pytest.mark.parametrize("amps", [30.0, 12.0, 3.0, 0.6, 0.01])
def test_a_supply_that_folds_back_gives_its_amps_at_less_volts(amps):
    rails = lit(wall(24, 24), 1.0, amps)
    assert rails.converged.all()
    assert rails.supply_current_a[0, 0] == amps
    assert 0 < rails.supply_volts[0, 0] < 5


def test_a_supply_switched_off_leaves_the_wall_without_voltage():
    rails = lit(wall(5, 5), 1.0, 0.0)
    assert rails.converged.all()
    assert rails.led_volts.max() < 0.01
    assert (rails.delivered == 0).all()


@given(powered_walls(), st.integers(0, 999), st.floats(0, 1))
def test_from_the_picture_before_it_finds_the_same_volts(display, seed, near):
    """Wherever it starts: the energy has one lowest point. Volts within 0.1 mV, the mark."""
    network, chip = build_network(display), display.chip
    first, second = random_drives(display, 2, seed)
    second = np.round(near * first + (1 - near) * second).astype(np.uint8)
    before = solve_rails(network, first[None], chip)
    fresh = solve_rails(network, second[None], chip)
    after = solve_rails(network, second[None], chip, before=before)
    assert after.converged.all()
    assert after.led_volts == pytest.approx(fresh.led_volts, abs=1e-4)
    assert after.total_current_a == pytest.approx(fresh.total_current_a, abs=1e-5)
    assert solve_rails(network, first[None], chip, before=before).steps.max() <= 1


def test_a_frame_that_was_not_solved_says_so(monkeypatch):
    monkeypatch.setattr("emulator.power.solve.MOST_STEPS", 1)
    rails = lit(wall(24, 24, SERIES), 1.0)
    assert not rails.converged.any()
    assert rails.residual_a.max() > 1e-3


# Closed form: dark LEDs take a constant 1 mA; the supply's own resistance drops current times ohms.
def test_a_supply_loses_current_times_its_own_resistance():
    display = wall(30, 1, "[power]\nsupply=[{source_ohm=0.05}]\nfeed=[{led=0}]\n")
    rails = lit(display, 1.0)
    assert rails.supply_volts[0, 0] == pytest.approx(5 - 0.05 * 30 * 0.061, abs=1e-6)
    folded = lit(display, 1.0, 0.5)  # its own resistance does not lower what it gives
    assert folded.supply_current_a[0, 0] == 0.5
    assert folded.supply_volts[0, 0] < 5 - 0.05 * 0.5


@pytest.mark.parametrize("length_m", [1e-3, 1e-6, 1e-9, 1e-12, 1e-30])
@pytest.mark.parametrize("level", [0.0, 0.2, 1.0])
def test_a_wire_of_almost_no_resistance_converges_like_a_joint(length_m, level):
    """Within 60 nV at 30 A a joint, of what no wire at all would give: by hand, all feeds at the
    supply's volts, so that run n drops as if it stood alone."""
    power = (
        f"[power]\nbus=[{{mm2=120,to_first_m={length_m},between_m={length_m}}}]\n"
        "supply=[{amps=50}]\n"
    )
    rails = lit(wall(24, 24, power), level)
    assert rails.converged.all()
    alone = lit(wall(24, 1, "[power]\nfeed=[{led=0}]\nsupply=[{amps=50}]\n"), level)
    shared_v = 2 * 24 * 35.136 * max(length_m / 58 / 120, 1e-9)  # along the bus, at the very most
    assert rails.led_volts.min() == pytest.approx(alone.led_volts.min(), abs=shared_v + 1e-4)


def test_rails_of_almost_no_resistance_are_one_joint():
    rails = lit(wall(24, 4, "[power]\nrail_ohm_per_m=1e-9\nfeed=[{led=0}]\njumper={awg=18}\n"), 0.5)
    assert rails.converged.all()
    assert np.ptp(rails.led_volts[0, :24]) < 1e-5


def test_no_step_moves_a_voltage_further_than_the_highest_supply(monkeypatch):
    """Where every LED has lost its headroom the curve is flat, and a whole step goes astray."""
    moves, end_of = [], solve._end_of

    def watched(problem, v, lines, move, slope):
        moves.append(np.abs(move).max())
        return end_of(problem, v, lines, move, slope)

    monkeypatch.setattr(solve, "_end_of", watched)
    for amps in (12.0, 0.6, 0.01, 0.0):
        assert lit(wall(24, 24), 1.0, amps).converged.all()
    assert max(moves) == pytest.approx(5.0, rel=1e-12)
    assert len(moves) > 10


def test_where_the_currents_are_constant_one_whole_step_solves_it(monkeypatch):
    """F is linear in the volts there, which is the case that Newton's method solves in one step."""
    shares, end_of = [], solve._end_of

    def watched(*given):
        end = end_of(*given)
        shares.append(end.share)
        return end

    monkeypatch.setattr(solve, "_end_of", watched)
    rails = lit(wall(24, 4), 0.1)
    assert rails.led_volts.min() > 3.6
    assert (rails.steps.tolist(), rails.steps.dtype) == ([1], np.int64)
    assert [share.tolist() for share in shares] == [[1.0]]


class Bent:
    """A problem of one node, whose slope along the move is `law`, and its line's `lines_s`."""

    def __init__(self, law, lines_s=0.0):
        self._law, self._lines_s, self.asked = law, lines_s, []

    def lines(self, move):
        return self._lines_s * move

    def frames(self, which):
        return self

    def elements(self, volts):
        self.asked.append(float(volts[0, 0]))
        return self._law(volts)


# False position keeps one end for ever where the curve is bent; Illinois (Dowell and Jarratt, BIT
# 11, 1971) halves the slope there. Plain false position takes over a hundred steps for these.
@pytest.mark.parametrize(
    "law",
    [
        lambda t: 1001 * t**40 - 1,
        lambda t: 30 * t**8 - 1,
        lambda t: 1.2 * t**0.05 - 1,
    ],
)
def test_the_lowest_point_along_a_step_is_found_however_bent_the_curve(law):
    bent, start = Bent(law), np.zeros((1, 1))
    share = solve._end_of(bent, start, start, np.ones((1, 1)), law(np.zeros(1))).share
    assert 0 < share[0] < 1
    assert abs(law(share[0])) <= 0.1
    assert len(bent.asked) <= 20


# By hand, Dowell and Jarratt's rule: from slope −1 at 0 and 1 at 1 to the middle of both, 1/2. The
# slope there replaces the end of its own sign, and halves the other: 1/2 + 1/2 · 1/2 = 3/4, or 1/4.
@pytest.mark.parametrize(
    ("at_half", "next_share"), [(-0.5, 0.75), (0.5, 0.25)], ids=["low moves", "high moves"]
)
def test_the_end_that_stays_counts_by_half_its_slope(at_half, next_share):
    slope_at = {0.0: -1.0, 1.0: 1.0, 0.5: at_half, next_share: 0.0}
    bent, start = Bent(lambda t: np.array([[slope_at[t[0, 0]]]])), np.zeros((1, 1))
    share = solve._end_of(bent, start, start, np.ones((1, 1)), np.array([-1.0])).share
    assert bent.asked == [1.0, 0.5, next_share]
    assert share == [next_share]


def test_a_step_that_passes_the_lowest_point_by_little_is_taken_whole():
    start = np.zeros((1, 1))
    for lines_s in (0.0, 0.5):  # what the lines carry of the slope
        for total_s, share in ((1.09, 1), (1.11, 1 / 1.11)):
            bent = Bent(lambda t, own_s=total_s - lines_s: own_s * t - 1, lines_s)
            end = solve._end_of(bent, start, start, np.ones((1, 1)), np.array([-1.0]))
            assert end.share == pytest.approx([share], rel=1e-12)
    just = Bent(lambda t: 11.0 * t - 10.0)  # a tenth beyond, which is still little
    assert solve._end_of(just, start, start, np.ones((1, 1)), np.array([-10.0])).share == [1.0]
