from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from emulator import Bench, load_display, parse_display
from emulator.power.solve import solve_rails

WHITE, DARK = 255, 0


def wall(power: str, columns: int = 24, rows: int = 24):
    text = f"[grid]\ncolumns={columns}\nrows={rows}\n[chip]\npart='WS2812B'\n[wiring]\n[power]\n"
    return parse_display(text + power, Path("wall.toml"))


def shown(display, level, **options):
    bench = Bench(display, **options)
    bench.send(np.full(display.picture_shape, level, np.uint8))
    return bench


ENOUGH = "supply=[{volts=5, amps=100}]\n"


# Common practice, no source: 60 mA an LED at full white, 1 mA in the dark.
def test_current_of_a_well_fed_wall_is_what_practice_reckons():
    display = wall(ENOUGH)
    assert shown(display, WHITE).current() == pytest.approx(34.56 + 0.576, rel=1e-6)
    assert shown(display, DARK).current() == pytest.approx(0.576, rel=1e-6)


def test_rail_volts_fall_away_from_the_feed():
    display = wall(ENOUGH + "feed=[{led=0}]\n", columns=40, rows=1)
    volts = shown(display, WHITE).rail_volts()
    assert volts.shape == (40,)
    assert (np.diff(volts) < 0).all()


SERIES = ENOUGH + "feed=[{led=0, awg=12, length_m=0.5}]\njumper={awg=18, length_m=0.05}\n"


def test_the_far_end_of_a_long_chain_goes_red_then_dark():
    display = wall(SERIES)
    light = shown(display, WHITE, powered=True).light
    assert (light[0] == 1).all()
    reddish = (light[:, 0] > 0.5) & (light[:, 2] < 0.1)
    assert reddish.any()
    assert (light[-1] == 0).all()
    asked = shown(display, WHITE).light
    assert (asked == 1).all()  # without `powered` they show what is asked for


def test_an_overloaded_supply_folds_back_and_the_wall_dims():
    display = wall("supply=[{volts=5, amps=10}]\n")
    bench = shown(display, WHITE, powered=True)
    assert bench.current() == pytest.approx(10, rel=1e-4)
    assert 0 < bench.light.mean() < 0.5


def test_a_supply_that_trips_goes_dark_and_tries_again_after_its_time():
    display = wall("supply=[{volts=5, amps=10, overload='trip', retry_s=2.0}]\n")
    bench = shown(display, WHITE, powered=True)
    assert bench.current() == 0
    assert (bench.light == 0).all()
    bench.send(np.zeros(display.picture_shape, np.uint8))
    assert bench.current() == 0  # still off, though nothing is asked for
    bench.clock.wait_until(bench.clock.now_ns() + 2_000_000_000)
    assert bench.current() == pytest.approx(0.576, rel=1e-6)


def test_a_stack_of_frames_trips_the_supply_as_single_frames_do():
    display = wall("supply=[{volts=5, amps=10, overload='trip', retry_s=0.5}]\n")
    frames = np.zeros((3, 576 * 3), np.uint8)
    frames[1] = 255
    many = Bench(display, powered=True)
    many.send_frames(frames, 100_000_000)
    one = Bench(display, powered=True)
    for number, frame in enumerate(frames):
        one.clock.wait_until(number * 100_000_000)
        one.send_frame(frame)
    one.clock.wait_until(300_000_000)
    assert many.current() == one.current() == 0


def test_pictures_are_kept_under_the_display_files_limit_and_bytes_are_not():
    display = wall(ENOUGH + "limit_a=12.0\n")
    bench = shown(display, WHITE)
    assert 11.5 < bench.current() <= 12.0
    bench.send_frame(b"\xff" * 576 * 3)
    assert bench.current() > 35


@pytest.mark.parametrize("name", ["foyer", "banner", "sign"])
def test_the_demos_are_fed_well_enough_to_show_no_difference(name):
    display = load_display(name)
    picture = np.random.default_rng(3).integers(0, 256, display.picture_shape, np.uint8)
    lights = []
    for powered in (False, True):
        bench = Bench(display, powered=powered)
        bench.send(picture)
        lights.append(bench.light)
        assert bench.power.rails.converged.all()
    assert lights[1] == pytest.approx(lights[0], abs=1e-6)


def test_looking_at_the_current_leaves_no_trace_where_power_is_not_shown():
    display = wall("supply=[{volts=5, amps=10, overload='trip', retry_s=2.0}]\n")
    bench = shown(display, WHITE)
    assert bench.current() == 0  # white would trip it
    bench.send(np.zeros(display.picture_shape, np.uint8))
    assert bench.current() == pytest.approx(0.576, rel=1e-6)


def test_a_frame_is_solved_once_however_often_it_is_looked_at(monkeypatch):
    solved = []

    def counting(*given, **more):
        solved.append(given)
        return solve_rails(*given, **more)

    monkeypatch.setattr("emulator.power.supply.solve_rails", counting)
    bench = shown(wall(ENOUGH), WHITE, powered=True)
    for _ in range(3):
        bench.clock.wait_until(bench.clock.now_ns() + 5_000_000)
        bench.current(), bench.rail_volts(), bench.light
    assert len(solved) == 1


def test_looking_leaves_no_trace_on_supplies_that_trip():
    """A supply is judged when a frame begins; reading it meanwhile changes nothing."""
    display = wall("supply=[{volts=5, amps=10, overload='trip', retry_s=1.0}]\n")
    seen, unseen = (shown(display, WHITE, powered=True) for _ in range(2))
    for time_ns in (1_100_000_000, 1_900_000_000, 2_000_000_000):
        seen.clock.wait_until(time_ns)
        assert seen.current() == 0
        assert not seen.light.any()
    for bench in (seen, unseen):
        bench.clock.wait_until(2_050_000_000)
        bench.send(np.zeros(display.picture_shape, np.uint8))
    assert seen.current() == unseen.current() == pytest.approx(0.576, rel=1e-6)
