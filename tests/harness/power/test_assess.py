from __future__ import annotations

import dataclasses
import json
import math

import numpy as np
import pytest

from emulator import ForeglowError, load_display
from emulator.canvas import limit_current
from emulator.description.feeding import complete_power
from emulator.power.network import build_network
from emulator.power.solve import solve_rails
from emulator.power.wire import CAUTION
from emulator.power.worst import uniform_drives
from harness.power import assess, follow, follow_scenes, suggest, suggestions
from harness.power.calculation import gauge_words
from harness.power.findings import power_findings, too_thin
from harness.power.heat import rise
from scenes import SCENES
from tests.power.walls import wall

# Common practice, no source: 20 mA a channel at full drive, 1 mA an LED when dark.
LED_WHITE_A, LED_DARK_A = 0.061, 0.001


def plain(display, *colour):
    """A source of one colour everywhere."""
    picture = np.full(display.picture_shape, colour, dtype=np.uint8)
    return lambda time_s: picture


# ---- currents ----------------------------------------------------------------------------------


def test_576_leds_ask_35_amperes_for_full_white_and_one_channel_a_third_of_the_light():
    # By hand: 576 × 60 mA = 34.56 A, and 576 × 1 mA = 0.576 A on top, dark or lit.
    display = wall(24, 24)
    found = assess(display)
    assert found.dark.asked_a == pytest.approx(0.576)
    assert found.white.asked_a == pytest.approx(34.56 + 0.576)
    red = follow(display, "red", plain(display, 255, 0, 0), 1)
    assert red.asked_a.mean() - 0.576 == pytest.approx(34.56 / 3)


def test_code_values_and_light_may_take_turns():
    """White, a second each as sRGB 255 and as light 1: the same current all the time."""
    display = wall(24, 24)
    white = plain(display, 255, 255, 255)
    mixed = follow(
        display, "mixed", lambda t: white(t) if t < 1 else np.ones(display.picture_shape), 2
    )
    assert mixed.asked_a == pytest.approx(34.56 + 0.576)


def test_lines_and_runs_share_the_current_among_them():
    found = assess(load_display("foyer"))
    assert found.white.line_a == pytest.approx((358 * LED_WHITE_A,) * 2)
    assert len(found.white.run_a) == 22
    assert found.white.run_a[0] == pytest.approx(36 * LED_WHITE_A)
    for load in found.loads:
        assert sum(load.run_a) == pytest.approx(load.asked_a)
        assert sum(load.line_a) == pytest.approx(load.asked_a)


def test_what_wires_let_through_is_told_beside_what_is_asked():
    """24 rows in series starve; the need of their supply still follows from what they ask for."""
    found = assess(wall(24, 24, "[power]\nfeed=[{led=0}]\njumper={awg=18}\nsupply=[{amps=30}]\n"))
    assert found.white.asked_a == pytest.approx(35.136)
    assert found.white.drawn_a < 0.3 * found.white.asked_a
    assert found.supplies[0].heaviest_a == pytest.approx(35.136)
    assert found.supplies[0].drawn_a == pytest.approx(found.white.drawn_a)


# ---- limit and supplies ------------------------------------------------------------------------


def test_a_limit_bounds_what_a_supply_and_a_wire_see():
    found = assess(wall(24, 24, "[power]\nlimit_a=20\nsupply=[{amps=30}]\n"))
    assert found.supplies[0].heaviest_a == 20
    assert found.supplies[0].share == pytest.approx(2 / 3)
    assert found.heaviest.asked_a <= 20 < found.white.asked_a
    assert found.wires[0].current_a == pytest.approx(20)


def test_a_limit_bounds_drop_and_loss_of_a_wire_too():
    power = "[power]\nlimit_a=1\nfeed=[{led=0, awg=18, length_m=2, connector_mohm=0}]\n"
    (feed,) = [w for w in assess(wall(30, 1, power)).wires if w.kind == "feed"]
    # Handbook: AWG 18 is 20.95 Ω/km; 1 A through 2 × 2 m.
    assert feed.current_a == pytest.approx(1)
    assert feed.drop_v == pytest.approx(0.0838, rel=0.01)
    assert feed.loss_w == pytest.approx(0.0838, rel=0.01)


def test_a_limit_above_full_white_changes_nothing():
    free, limited = (assess(wall(9, 4, f"[power]\n{extra}\n")) for extra in ("", "limit_a=3"))
    assert free.white == limited.white
    assert limited.heaviest == limited.white


def test_the_limit_of_a_display_does_not_protect_one_of_two_supplies():
    power = "[power]\nlimit_a=20\nsupply=[{amps=10},{amps=30}]\n"
    found = assess(wall(24, 24, power))
    # By hand: half of 576 LEDs on each, 17.57 A of white, which 20 A allow on either.
    assert [s.heaviest_a for s in found.supplies] == pytest.approx([288 * LED_WHITE_A] * 2)


def test_the_lowest_voltage_under_a_limit_is_that_of_the_worst_picture_not_of_dimmed_white():
    display = wall(60, 1, "[power]\nlimit_a=2\nfeed=[{led=0}]\n")
    dimmed = limit_current(uniform_drives(display, 1.0), display.chip, 2.0)
    rails = solve_rails(build_network(display), dimmed, display.chip)
    found = assess(display)
    assert found.lowest.led == 59
    assert found.lowest.volts < rails.led_volts.min() - 0.1
    # By hand: (2 − 0.06) A of light is that of 32 LEDs at 60 mA, the farthest, and of one more at
    # the 20 mA that are left. The current in each step of the rail is that of all LEDs beyond it.
    amps = np.full(60, LED_DARK_A)
    amps[-32:] += 0.06
    amps[-33] += 0.02
    beyond = amps[::-1].cumsum()[::-1][1:]
    rail_v = beyond.sum() * display.power.rail_ohm_per_m / 30
    feed_v = amps.sum() * (0.1 * 0.02095 + 0.005)  # handbook: AWG 18; and the connectors
    assert found.lowest.volts == pytest.approx(5 - 2 * (rail_v + feed_v), abs=1e-3)


# ---- voltages and colours ----------------------------------------------------------------------


def test_a_strip_fed_at_one_end_drops_half_of_current_times_resistance():
    """Closed form: 30 equal constant currents along a rail, fed by a wire of known resistance."""
    power = (
        "[power]\nrail_ohm_per_m=0.1\nsupply=[{amps=5}]\n"
        "feed=[{led=0, awg=18, length_m=2, connector_mohm=0}]\n"
    )
    found = assess(wall(30, 1, power))
    total = 30 * LED_WHITE_A
    feed_ohm = 2 * 0.02095  # handbook: AWG 18 is 20.95 Ω/km
    rail_ohm = 29 * (1 / 30) * 0.1
    drop = 2 * feed_ohm * total + total * rail_ohm  # both conductors: twice the half
    assert found.lowest.volts == pytest.approx(5 - drop, abs=2e-3)
    assert (found.lowest.line, found.lowest.led, found.lowest.column) == (0, 29, 29)
    feed, rail = found.wires
    assert (feed.kind, feed.gauge) == ("feed", "AWG 18")
    assert feed.current_a == pytest.approx(total, rel=1e-4)
    assert feed.drop_v == pytest.approx(2 * feed_ohm * total, rel=0.01)
    assert feed.loss_w == pytest.approx(2 * feed_ohm * total**2, rel=0.01)
    assert rail.kind == "rail"
    assert rail.current_a == pytest.approx(29 * LED_WHITE_A, rel=1e-4)
    assert rail.ampacity_a is None


def test_wires_are_listed_largest_first_with_guidance_and_a_fuse_where_they_begin():
    found = assess(load_display("foyer"))
    amps = [w.current_a for w in found.wires]
    assert amps == sorted(amps, reverse=True)
    by_name = {w.name: w for w in found.wires}
    # 358 LEDs × 61 mA × the margin of 1.25 is 27.3 A: the next common fuse is 30 A, which blows at
    # 1.35 × 30 A (ISO 8820-3, from memory), more than the supply of 30 A gives. But AWG 12 carries
    # 41 A (chassis wiring, from memory), more than 1.25 times those 30 A.
    first = by_name["bus of upper supply, to feed 0"]
    assert (first.fuse_a, first.ampacity_a, first.unprotected) == (None, 41, False)
    assert (first.bears_supply, first.supply_a) == (True, 30)
    # Later pieces of the bus are as thick, and protected by the same fuse.
    assert by_name["bus of upper supply, to feed 1"].fuse_a is None
    assert not by_name["bus of upper supply, to feed 1"].unprotected
    assert all(w.fuse_a for w in found.wires if w.kind == "feed")


def test_a_wire_between_two_alike_places_is_judged_when_half_the_wall_is_lit():
    """Fed at both ends, the jumper in the middle carries nothing while all LEDs are lit."""
    display = wall(10, 2, "[power]\nfeed=[{led=0},{led=19}]\njumper={awg=18}\n")
    (jumper,) = [w for w in assess(display).wires if w.kind == "jumper"]
    assert jumper.current_a > 0.1


def test_blue_and_green_go_before_red_and_the_colour_shows_it():
    # WS2812B datasheet: Vf 2.0–2.2 V red, 3.0–3.4 V green and blue. Between them only red shines.
    power = "[power]\nfeed=[{led=0}]\njumper={awg=18}\n"
    found = assess(wall(60, 1, power + "rail_ohm_per_m=0.5\n"))
    red, green, blue = found.lowest.delivered
    assert red > 0.2
    assert green == blue < red
    assert int(found.lowest.colour[1:3], 16) > int(found.lowest.colour[3:5], 16)
    assert found.needed_v == pytest.approx(3.2 + 0.4)
    near = assess(wall(3, 1))
    assert near.lowest.delivered == (1, 1, 1)
    assert near.lowest.colour == "#ffffff"


def test_an_overloaded_supply_sags_and_the_wires_are_judged_apart():
    found = assess(wall(24, 24, "[power]\nsupply=[{amps=20}]\n"))
    assert found.lowest.volts < found.lowest_held.volts - 1
    tripping = assess(wall(24, 24, "[power]\nsupply=[{amps=20, overload='trip'}]\n"))
    assert tripping.lowest.volts == pytest.approx(tripping.lowest_held.volts)


# ---- energy, heat, solver ----------------------------------------------------------------------


def test_energy_is_power_times_hours_and_costs_the_price():
    power = "[power]\nhours_a_day=8\nprice_per_kwh=0.5\n"
    display = wall(10, 10, power)
    found = assess(display, [follow(display, "white", plain(display, 255, 255, 255), 2)])
    assert found.energy is not None
    # By hand: 100 LEDs × 61 mA × 5 V = 30.5 W; × 8 h = 0.244 kWh; × 0.5 = 0.122 a day.
    assert found.energy.typical_w == pytest.approx(30.5, rel=1e-5)
    assert found.energy.kwh_a_day == pytest.approx(0.244, rel=1e-5)
    assert found.energy.cost_a_day == pytest.approx(0.122, rel=1e-5)
    assert found.energy.cost_a_year == pytest.approx(0.122 * 365, rel=1e-5)


def test_heat_is_spread_over_the_cells():
    found = assess(wall(24, 24, "", "WS2812B"))
    assert found.wall_m2 == pytest.approx((24 / 30) ** 2)  # pitch 1/30 m
    assert found.heat_w_m2(found.white) == pytest.approx(5 * 35.136 / 0.64, rel=1e-4)


def test_the_typical_load_is_the_mean_of_the_scenes_followed():
    display = wall(4, 4)
    pair = [
        follow(display, name, plain(display, *colour), 1)
        for name, colour in (("dark", (0, 0, 0)), ("red", (255, 0, 0)))
    ]
    found = assess(display, pair)
    assert found.typical is not None
    assert found.typical.asked_a == pytest.approx(16 * (0.001 + 0.021) / 2)
    assert found.typical_of == ("dark", "red")
    assert assess(display).typical is None
    assert assess(display).energy is None


def test_the_demo_scenes_stand_for_a_typical_minute():
    courses = follow_scenes(load_display("sign"))
    assert {c.name for c in courses} == {f"scene {name}" for name in SCENES}
    assert all(c.seconds == 60 and c.converged for c in courses)


@pytest.mark.parametrize("name", ["foyer", "banner", "sign"])
def test_the_solver_says_how_well_it_did(name):
    found = assess(load_display(name))
    assert found.solver.converged
    assert found.solver.unbalanced < 1e-6  # energy in = energy out
    assert found.solver.steps > 0


def test_everything_is_plain_data_with_the_caution():
    display = load_display("sign")
    data = json.loads(json.dumps(assess(display, follow_scenes(display)).to_json()))
    assert data["caution"] == CAUTION
    assert data["supplies"][0]["share"] == pytest.approx(0.7808)
    assert data["lowest"]["volts"] == pytest.approx(4.727, abs=1e-3)
    assert "local codes" in data["ampacity_source"]
    assert set(data["heat_w_m2"]) == {"dark", "typical", "full white"}


def test_gauges_are_named_as_they_are_bought():
    # ASTM B258: AWG 18 is 0.8231 mm² (handbook 0.823).
    assert gauge_words(math.pi / 4 * (0.127 * 92 ** ((36 - 18) / 39)) ** 2) == "AWG 18"
    assert gauge_words(2.5) == "2.5 mm²"
    assert gauge_words(None) == ""


# ---- over time ---------------------------------------------------------------------------------


def half_white(display, level=0):
    """White in even seconds, dark or another level in odd ones."""
    white = np.full(display.picture_shape, 255, dtype=np.uint8)
    other = np.full_like(white, level)
    return lambda time_s: white if int(time_s) % 2 == 0 else other


def test_peak_mean_and_duty_above_the_limit():
    display = wall(10, 1, "[power]\nlimit_a=0.4\n")
    course = follow(display, "half", half_white(display), 10, 20)
    assert (len(course.times_ns), course.seconds) == (200, 10)
    assert course.asked_a.max() == pytest.approx(0.61)
    assert course.asked_a.mean() == pytest.approx((0.61 + 0.01) / 2)
    assert course.above_limit == 0.5
    assert course.sent_a.max() <= 0.4
    assert course.drawn_a == pytest.approx(course.sent_a, abs=1e-5)
    unlimited = follow(wall(10, 1), "half", half_white(display), 10, 20)
    assert unlimited.above_limit is None
    assert unlimited.sent_a == pytest.approx(unlimited.asked_a)


def test_following_in_blocks_is_the_same_as_in_one_piece(monkeypatch):
    display = wall(6, 2, "[power]\nlimit_a=0.3\nsupply=[{amps=0.2, overload='trip', retry_s=1}]\n")
    source = half_white(display, 128)  # dim enough to pass whole once the limiter has let go
    whole = follow(display, "half", source, 8, 10)
    monkeypatch.setattr("harness.power.course._LEDS_AT_ONCE", 7 * display.leds)
    blocks = follow(display, "half", source, 8, 10)
    assert whole.off.any()
    for name in ("times_ns", "asked_a", "sent_a", "drawn_a", "lowest_v", "led_a", "off"):
        assert getattr(whole, name) == pytest.approx(getattr(blocks, name), rel=1e-12), name


def test_a_tripping_supply_shows_as_time_off():
    display = wall(10, 1, "[power]\nsupply=[{amps=0.3, overload='trip', retry_s=0.5}]\n")
    course = follow(display, "half", half_white(display), 10, 10)
    assert 0.2 < course.off.mean() < 0.6
    assert course.drawn_a[course.off].max() == 0
    assert course.to_json()["supply_off"] == course.off.mean()


@pytest.mark.parametrize("seconds", [0, -1, math.nan, math.inf, 1e9, 1e-9])
def test_a_time_that_cannot_be_followed_is_refused(seconds):
    display = wall(2, 1)
    with pytest.raises(ForeglowError, match="Fix"):
        follow(display, "dark", plain(display, 0, 0, 0), seconds)


# ---- suggestions -------------------------------------------------------------------------------


def suggested(display):
    return {s.what: s for s in suggest(display, assess(display))}


def test_an_overload_is_met_by_a_limit_or_by_a_larger_supply():
    found = suggested(wall(24, 24, "[power]\nsupply=[{amps=30}]\nbus=[{awg=4}]\n"))
    # By hand: 80 % of 30 A is 24 A, (24 − 0.576) / 34.56 = 68 %; 35.136 / 0.8 = 43.92 A.
    limit, larger = found["limit to 24 A (68% of full white)"], found["buy 44 A for supply 0"]
    assert (limit.before, limit.after) == pytest.approx((35.136 / 30, 0.8))
    assert larger.after == pytest.approx(35.136 / 44)
    assert str(larger) == "buy 44 A for supply 0: load of supply 0 117% → 80%"


def test_a_feed_where_it_is_lowest_lifts_the_voltage_as_solving_afresh_shows():
    power = "[power]\nfeed=[{led=0}]\n"
    display = wall(100, 1, power)
    suggestion = suggested(display)["add a feed at LED 99 of line 0"]
    more = wall(100, 1, "[power]\nfeed=[{led=0},{led=99}]\n")
    for figure, which in ((suggestion.before, display), (suggestion.after, more)):
        rails = solve_rails(build_network(which), uniform_drives(which, 1.0), which.chip, np.inf)
        assert figure == pytest.approx(rails.led_volts.min())
    assert suggestion.after > suggestion.before + 0.5
    assert str(suggestion).endswith(f"{suggestion.before:.2f} → {suggestion.after:.2f} V")


def test_a_long_thin_bus_is_made_as_thick_as_it_takes_and_no_thicker():
    def lowest(awg):
        return assess(wall(24, 4, f"[power]\nbus=[{{awg={awg}, to_first_m=4}}]\n")).lowest.volts

    found = suggested(wall(24, 4, "[power]\nbus=[{awg=16, to_first_m=4}]\n"))
    (thicker,) = [s for s in found.values() if s.what.endswith("for the bus") and s.unit == "V"]
    awg = int(thicker.what.split()[2])
    assert thicker.before == pytest.approx(lowest(16))
    assert thicker.after == pytest.approx(lowest(awg))
    assert lowest(awg) >= 4.5 > lowest(awg + 2)


def test_where_no_gauge_does_the_thickest_is_named_with_what_it_does():
    found = suggested(wall(24, 4, "[power]\nbus=[{awg=16, to_first_m=100}]\n"))
    thickest = found["use AWG 2 for the bus"]
    assert thickest.before + 0.1 < thickest.after < 4.5


def test_metric_wires_stay_metric():
    found = suggested(wall(24, 4, "[power]\nbus=[{mm2=0.75, to_first_m=4}]\n"))
    assert any("mm² for the bus" in what for what in found)
    assert not any("AWG" in what and "bus" in what for what in found)


def test_a_wire_over_its_guidance_is_replaced_by_the_thinnest_that_carries_it():
    power = "[power]\nsupply=[{amps=40}]\nlimit_a=30\nbus=[{awg=14, to_first_m=0.1}]\n"
    found = suggested(wall(24, 24, power))
    # 1.25 × 30 A asks for a fuse of 40 A, which a supply of 40 A does not blow; so the bus must
    # bear 1.25 × 40 A: AWG 10 carries 55 A, AWG 12 41 A (from memory).
    assert found["use AWG 10 for the bus"].after == pytest.approx(30 / 55, rel=1e-3)


@pytest.mark.slow
def test_far_too_few_feeds_are_met_by_a_plan():
    found = suggested(wall(24, 24, "[power]\nfeed=[{led=0}]\njumper={awg=18}\n"))
    (plan,) = [s for s in found.values() if "--plan 4.5" in s.what]
    assert plan.after > 4.4 > plan.before + 2


@pytest.mark.slow
def test_one_long_bus_is_shared_among_supplies():
    found = suggested(wall(60, 40))
    (shared,) = [s for s in found.values() if s.what.startswith("share the runs")]
    assert shared.after > shared.before + 0.1


@pytest.mark.slow
@pytest.mark.parametrize(
    "power",
    [
        "",
        "[power]\nlimit_a=6\n",
        "[power]\njumper={}\nfeed=[{led=0}]\n",
        "[power]\nlimit_a=9\nsupply=[{amps=8},{amps=20}]\nbus=[{awg=18}]\n",
    ],
)
@pytest.mark.parametrize(("columns", "rows"), [(60, 1), (24, 6)])
def test_what_is_tried_in_part_is_what_a_whole_assessment_says(power, columns, rows):
    display = wall(columns, rows, power)
    before = assess(display)
    complete = complete_power(display.power, display.chip, display.wiring, display.placement)
    low, worst = before.lowest_held, suggestions._Trial(display, display.power).lowest_frame
    changes = [suggestions._fed(complete, low.line, low.led)]
    for kind in ("bus", "feed"):
        changes += [changed for _, changed in suggestions._thicker(complete, kind)][::3]
    changes += [changed for _, changed in suggestions._shared(display, complete)]
    for changed in changes:
        tried = suggestions._Trial(display, changed)
        whole = assess(dataclasses.replace(display, power=changed))
        assert tried.lowest_v == whole.lowest_held.volts
        for least_v in (tried.lowest_v - 1e-6, tried.lowest_v + 1e-6):
            assert tried.reaches(least_v, worst) == (tried.lowest_v >= least_v)
        for roles in suggestions._ROLES_OF.values():
            uses = [use for use in whole.wires if use.kind in roles]
            assert tried.uses(roles) == uses
            assert tried.carries(roles) == (not any(map(too_thin, uses)))
        for number, supply in enumerate(whole.supplies):
            assert tried.share(number) == pytest.approx(supply.share, rel=1e-12)


def test_a_display_that_is_planned_anyway_gets_no_plan_for_a_suggestion():
    display = wall(300, 1, "[power]\nfeed=[{led=0}]\n")
    words = [s.what for s in suggest(display, assess(display))]
    without = [s.what for s in suggest(display, assess(display), with_plan=False)]
    assert [what for what in words if "--plan" not in what] == without
    assert without != words


def test_a_display_with_room_to_spare_gets_no_suggestions():
    assert suggested(load_display("sign")) == {}
    assert suggested(dataclasses.replace(wall(6, 3), name="small")) == {}


# ---- wires as one buys and fuses them ----------------------------------------------------------


def test_identical_wires_stand_in_one_row_with_their_count_and_none_is_hidden():
    found = assess(load_display("foyer"))
    rows = {(w.kind, w.gauge, w.length_m): w for w in found.wire_rows}
    assert [w.kind for w in found.wire_rows] == [
        "supply to bus", "bus", "feed", "jumper", "jumper", "rail", "rail",
    ]  # fmt: skip
    assert {w.kind: w.count for w in found.wire_rows[:3]} == {
        "supply to bus": 2, "bus": 10, "feed": 12,
    }  # fmt: skip
    # 8 + 8 mm, twice 10 mm of board, 33.3 mm to the next row and 50 mm of loop: 120 mm. Round the
    # speaker of 66.7 mm with 5 mm of clearance: 220 mm.
    jumpers = {w.length_m: w.count for w in found.wire_rows if w.kind == "jumper"}
    assert jumpers == {0.12: 18, 0.22: 2}
    assert sum(w.count for w in found.wire_rows) == len(found.wires)
    assert sum(w.loss_w for w in found.wire_rows) == pytest.approx(
        sum(w.loss_w for w in found.wires)
    )
    feeds = rows["feed", "AWG 18", 0.1]
    assert feeds.current_a == max(w.current_a for w in found.wires if w.kind == "feed")
    # 1.25 × 4.38 A: the next common fuse is 7.5 A, which 30 A blow and AWG 18 (16 A) bears.
    assert feeds.fuse_a == 7.5


@pytest.mark.parametrize("amps", [0.5, 2, 6, 20, 60, 200])
@pytest.mark.parametrize("awg", [26, 20, 14, 8])
def test_no_fuse_is_above_what_its_supply_can_blow_or_its_wire_bears(amps, awg):
    # ISO 8820-3 (from memory): a blade fuse blows at 1.35 times its rating. Ampacity: handbooks.
    power = f"[power]\nsupply=[{{amps={amps}}}]\nfeed=[{{led=0,awg={awg}}}]\njumper={{}}\n"
    (feed,) = [w for w in assess(wall(10, 4, power)).wire_rows if w.kind == "feed"]
    bears = {26: 2.2, 20: 11, 14: 32, 8: 73}[awg]
    if feed.fuse_a is not None:
        assert feed.fuse_a <= bears
        assert 1.35 * feed.fuse_a <= amps
        assert feed.fuse_a >= 1.25 * feed.current_a
    assert feed.bears_supply == (1.25 * amps <= bears)
    assert feed.unprotected == (feed.fuse_a is None and not feed.bears_supply)


# ---- heat --------------------------------------------------------------------------------------


# ISO 6946 (from memory): 0.13 m²K/W at an inner surface, 0.18 through 25 mm of closed air. By hand:
# 100 W/m² make 13 K and 18 K more; with both sides open 0.31 and 0.13 stand side by side.
def test_the_rise_of_covers_and_board_is_by_the_resistances_of_iso_6946():
    found = rise(100, 25)
    assert (found.cover_closed_k, found.board_closed_k) == pytest.approx((13, 31))
    assert found.board_open_k == pytest.approx(100 * 0.31 * 0.13 / 0.44)
    assert found.cover_open_k == pytest.approx(found.board_open_k * 13 / 31)
    thin = rise(100, 0)  # the cover touches the board
    assert thin.cover_closed_k == thin.board_closed_k
    assert rise(100, 300).board_closed_k == pytest.approx(31)


def test_one_scene_is_the_load_by_itself():
    display = wall(10, 10)
    course = follow(display, "white", plain(display, 255, 255, 255), 2)
    found = assess(display, [course])
    assert found.typical is not None
    assert found.typical.name == "the scene"
    assert found.rise(found.typical) == rise(found.heat_w_m2(found.typical), 10)


def test_supplies_alike_are_one_row_one_finding_and_one_suggestion():
    supply = "{volts=5, amps=0.5}, {volts=5, amps=0.5}, {volts=5, amps=9}"
    feed = ", ".join(f"{{led={8 * number}, supply={number}}}" for number in range(3))
    display = wall(8, 3, f"[power]\nsupply=[{supply}]\nfeed=[{feed}]\n")
    assessment = assess(display, ())
    rows = [(words, numbers) for words, _, numbers in assessment.supply_rows]
    assert rows == [("supply 0 and 1 like it", [0, 1]), ("supply 2", [2])]
    found = [f.what for f in power_findings(display, assessment) if "full white" in f.what]
    assert found == ["supply 0 and 1 like it are loaded above 80% at full white"]
    said = [str(s) for s in suggest(display, assessment) if s.what.startswith("buy")]
    assert said == ["buy 1 A for supply 0 and 1 like it: load of supply 0 and 1 like it 98% → 49%"]
