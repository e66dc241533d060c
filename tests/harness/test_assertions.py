from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator import Bench, PictureError, load_display
from harness.assertions import assert_shows
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
