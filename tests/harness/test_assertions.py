from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator import Bench, PictureError, load_display
from harness.assertions import (
    assert_current_at_most,
    assert_shows,
    assert_volts_at_least,
    assert_wires_carry,
)
from tests.strategies import displays


@given(displays(), st.integers(0, 2**32 - 1))
def test_a_picture_that_was_sent_is_shown(display, seed):
    bench = Bench(display)
    picture = np.random.default_rng(seed).integers(0, 256, display.picture_shape, np.uint8)
    bench.send(picture)
    assert_shows(bench, picture)


@given(displays(), st.data())
def test_one_cell_clearly_off_fails(display, data):
    bench = Bench(display)
    picture = np.full(display.picture_shape, 128, np.uint8)
    bench.send(picture)
    row = data.draw(st.integers(0, display.grid.rows - 1))
    column = data.draw(st.integers(0, display.grid.columns - 1))
    picture[row, column, data.draw(st.integers(0, 2))] += 10
    with pytest.raises(AssertionError, match=f"1 of .* column {column}, row {row} "):
        assert_shows(bench, picture)


def test_gap_cells_are_not_compared():
    display = load_display("foyer")
    picture = np.zeros(display.picture_shape, np.uint8)
    picture[9, 17] = 255
    assert_shows(Bench(display), picture)


def test_wide_displays_are_printed_one_below_the_other(tmp_path):
    path = tmp_path / "wide.toml"
    path.write_text("[grid]\ncolumns=60\nrows=2\n[chip]\npart='SK6812'\n[wiring]\n")
    bench = Bench(load_display(path))
    with pytest.raises(AssertionError, match=r"expected\nw{60}\nw{60}\nshown\n\.{60}"):
        assert_shows(bench, np.full((2, 60, 3), 180, np.uint8))


def test_a_picture_of_another_shape_is_no_comparison():
    with pytest.raises(PictureError):
        assert_shows(Bench(load_display("foyer")), np.zeros((2, 2, 3), np.uint8))


def white_wall(tmp_path, power):
    path = tmp_path / "wall.toml"
    text = "[grid]\ncolumns=24\nrows=1\n[chip]\npart='WS2812B'\n[wiring]\n[power]\n"
    path.write_text(text + power)
    bench = Bench(load_display(path))
    bench.send(np.zeros((1, 24, 3), np.uint8))
    bench.send(np.full((1, 24, 3), 255, np.uint8))
    return bench


def test_current_is_held_against_every_frame_so_far(tmp_path):
    # Common practice, no source: 24 LEDs of 60 mA and 1 mA more in the dark are 1.464 A.
    bench = white_wall(tmp_path, "")
    assert_current_at_most(bench, 1.4641)
    bench.send(np.zeros((1, 24, 3), np.uint8))
    with pytest.raises(AssertionError, match=r"1 of 3 frames .* the most is 1\.46 A at 0\.00"):
        assert_current_at_most(bench, 1.46)


def test_the_led_with_the_least_volts_is_named(tmp_path):
    bench = white_wall(tmp_path, "feed=[{led=0}]")
    least = float(bench.rail_volts().min())
    assert_volts_at_least(bench, least - 1e-6)
    with pytest.raises(AssertionError, match=r"line 0, LED 23 \(column 23, row 0\) gets"):
        assert_volts_at_least(bench, least + 0.01)


def test_a_wire_too_thin_is_named_with_the_caution(tmp_path):
    assert_wires_carry(white_wall(tmp_path, "feed=[{led=0, awg=18}]"))
    with pytest.raises(AssertionError, match=r"guidance 0\.\d A\nGuidance only"):
        assert_wires_carry(white_wall(tmp_path, "feed=[{led=0, awg=30}]"))


def test_a_supply_that_trips_gives_no_volts_to_rely_on(tmp_path):
    bench = white_wall(tmp_path, "supply=[{amps=1, overload='trip'}]")
    with pytest.raises(AssertionError, match=r"gets -?0\.00 V"):
        assert_volts_at_least(bench, 3.4)
