from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given

from emulator import Wiring, load_display, shorthand
from tests.strategies import wirings


def full(columns: int, rows: int) -> np.ndarray:
    return np.zeros((rows, columns), dtype=bool)


# Worked by hand: a 4 × 3 grid, cells numbered row · 4 + column.
@pytest.mark.parametrize(
    ("start", "along", "path", "cells"),
    [
        ("top-left", "rows", "progressive", [0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11]),
        ("top-left", "rows", "serpentine", [0, 1, 2, 3, 7, 6, 5, 4, 8, 9, 10, 11]),
        ("top-right", "rows", "serpentine", [3, 2, 1, 0, 4, 5, 6, 7, 11, 10, 9, 8]),
        ("bottom-left", "columns", "serpentine", [8, 4, 0, 1, 5, 9, 10, 6, 2, 3, 7, 11]),
        ("bottom-right", "columns", "progressive", [11, 7, 3, 10, 6, 2, 9, 5, 1, 8, 4, 0]),
    ],
)
def test_shorthand_visits_the_cells_in_the_order_worked_by_hand(start, along, path, cells):
    assert shorthand(full(4, 3), start, along, path).cell.tolist() == cells


def test_lines_share_the_rows_in_blocks_and_the_first_take_one_more():
    wiring = shorthand(full(2, 5), lines=2, path="progressive")
    assert wiring.line_lengths == (6, 4)
    assert wiring.line_starts == (0, 6)
    assert wiring.cell[wiring.line == 1].tolist() == [6, 7, 8, 9]
    assert wiring.led[wiring.line == 1].tolist() == [0, 1, 2, 3]


def test_more_lines_than_rows_are_refused():
    with pytest.raises(ValueError, match="5 lines cannot share 2 rows"):
        shorthand(full(9, 2), lines=5)


def test_a_gap_cuts_a_row_into_two_runs():
    gap = full(6, 3)
    gap[1, 2:4] = True
    runs = shorthand(gap).runs
    assert [r.leds for r in runs] == [6, 2, 2, 6]
    assert (runs[1].from_column, runs[1].to_column) == (5, 4)
    assert (runs[2].from_column, runs[2].to_column) == (1, 0)


def test_a_single_column_along_rows_is_cut_into_single_leds():
    assert [r.leds for r in shorthand(full(1, 3)).runs] == [1, 1, 1]
    assert [r.leds for r in shorthand(full(1, 3), along="columns").runs] == [3]


def test_the_demo_sign_keeps_the_runs_of_its_file():
    assert [run.leds for run in load_display("sign").wiring.runs] == [16] * 4 + [8] * 8


@given(wirings())
def test_every_cell_has_one_led_and_every_led_one_cell_or_none(wiring):
    placed, led_at = wiring.placed, wiring.led_at
    assert len(set(wiring.cell[placed].tolist())) == len(placed)
    assert (wiring.cell[wiring.hidden] == -1).all()
    assert (led_at >= 0).sum() == len(placed)
    assert (led_at[wiring.row, wiring.column][placed] == placed).all()
    assert sum(wiring.line_lengths) == len(wiring)


@given(wirings())
def test_what_goes_to_the_leds_comes_back_to_the_cells(wiring):
    cells = np.arange(1.0, 2 * wiring.rows * wiring.columns + 1).reshape(
        2, wiring.rows, wiring.columns, 1
    )
    leds = wiring.per_led(cells)
    assert ((leds == 0) == wiring.hidden[:, None]).all()
    assert (wiring.per_cell(leds) == np.where(wiring.led_at[..., None] < 0, 0, cells)).all()


@given(wirings())
def test_runs_are_straight_and_cover_every_led(wiring):
    assert sum(run.leds for run in wiring.runs) == len(wiring)
    for number, run in enumerate(wiring.runs):
        distance = abs(run.to_column - run.from_column) + abs(run.to_row - run.from_row)
        assert run.from_column == run.to_column or run.from_row == run.to_row
        hidden = int(wiring.hidden[wiring.run == number].sum())  # in a place of their own, or not
        assert run.leds - 1 - hidden <= distance <= run.leds - 1
        assert run.cells_along == distance + 1
        assert len(set(wiring.line[wiring.run == number].tolist())) == 1


@given(wirings())
def test_runs_found_from_the_cells_alone_are_no_more_than_those_known(wiring):
    in_gap = wiring.hidden & ~_beside(wiring)
    column, row = (np.where(wiring.hidden & ~in_gap, -1, a) for a in (wiring.column, wiring.row))
    found = Wiring.from_cells(
        wiring.columns, wiring.rows, wiring.line, column, row, hidden=wiring.hidden
    )
    assert found == wiring
    assert len(found.runs) <= len(wiring.runs)


def _beside(wiring: Wiring) -> np.ndarray:
    """(N,) hidden LEDs in the place of another LED: those that have none of their own."""
    place = wiring.row * wiring.columns + wiring.column
    _, back = np.unique(place, return_inverse=True)
    seen = np.bincount(back)[back]
    return wiring.hidden & (seen > 1)
