"""The parts of an explanation, each by itself, with walls small enough to work out by hand."""

from __future__ import annotations

import numpy as np
import pytest

from emulator.description.wiring import shorthand
from emulator.errors import PictureError
from harness.explain import explain, explain_colours
from harness.explain.detectors import _without_order
from harness.explain.grids import OtherGrid, variants
from harness.explain.offsets import _around, _Gains, offsets
from harness.explain.operations import Backwards, MadeFor, MapIs, Offset, Taken
from harness.explain.sound import _lesser, trimmed
from harness.explain.state import Seen, State
from harness.explain.wall import Wall, Words
from harness.explain.words import statement
from harness.patterns.coded import ALWAYS_LIT, NEVER_LIT, READS_GAP, UNCLEAR


def state_of(wiring, source):
    wall = Wall(wiring)
    return State(Seen(wall, np.asarray(source)), wall.wiring.cell)


def plain(columns, rows, **words):
    return shorthand(np.zeros((rows, columns), dtype=bool), **words)


def test_the_first_led_s_data_count_where_a_stretch_is_late():
    """Three LEDs, each with the data of the one before: LED 0's and LED 1's are two votes."""
    (late,) = offsets(state_of(plain(3, 1), [NEVER_LIT, 0, 1]))
    assert (late.lines, late.by) == ((0,), 1)


def test_an_exchange_goes_as_a_whole():
    both = Taken("row", ((0, 1), (1, 0), (2, 3), (3, 2), (4, 0)))
    left = {lesser.pairs for lesser in _lesser(both)}
    assert left == {
        ((2, 3), (3, 2), (4, 0)),
        ((0, 1), (1, 0), (4, 0)),
        ((0, 1), (1, 0), (2, 3), (3, 2)),
    }


def test_a_row_that_is_all_gap_is_not_mostly_wrong():
    gap = np.zeros((3, 2), dtype=bool)
    gap[1] = True
    seen = Seen(Wall(shorthand(gap)), np.array([1, 0, 4, 5]))
    assert seen.mostly_wrong("row").tolist() == [True, False, False]


def test_a_piece_that_sets_nothing_right_is_left_out_of_the_list():
    """Row 1 has one LED, which backwards is as it was; it shows another cell than its own."""
    gap = np.array([[False, False, False], [True, False, True], [False, False, False]])
    wiring = shorthand(gap, path="progressive")  # cells 0 1 2, 4, 6 7 8
    state = state_of(wiring, [2, 1, 0, 0, 8, 7, 6])
    (cut,) = trimmed(state, (Backwards("row of LEDs", (0, 1, 2)),))
    assert cut == Backwards("row of LEDs", (0, 2))


def test_a_size_for_which_the_wiring_has_no_words_changes_nothing():
    wall = Wall(plain(3, 2))
    cells = wall.wiring.cell
    assert MadeFor(OtherGrid(4, 2, "asked", "dark"), None).apply(cells, wall) is cells


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (
            Words("top-right", "rows", "serpentine", 1),
            ("starts at the top-right", "at the top-left"),
        ),
        (Words("top-left", "columns", "serpentine", 1), ("runs along columns", "along rows")),
        (Words("top-left", "rows", "serpentine", 2), ("has 2 lines", "has 1 line")),
        (
            Words("top-left", "rows", "serpentine", 1, skips_gap=False),
            ("counts the gap cells as LEDs", "skips them"),
        ),
    ],
)
def test_what_the_map_does_and_what_the_wiring_does(words, told):
    gap = np.zeros((4, 4), dtype=bool)
    gap[1, 1] = True
    wall = Wall(shorthand(gap))
    said = statement(MapIs(words, wall.words.differences(words)), wall)
    assert f"the map {told[0]}, the wiring {told[1]}" in said.what


@pytest.mark.parametrize(
    ("cell", "told"),
    [
        (5, "shows column 1, row 1"),
        (NEVER_LIT, "is never lit"),
        (ALWAYS_LIT, "is always lit"),
        (READS_GAP, "shows a gap cell"),
        (UNCLEAR, "shows nothing that is one cell's code"),
    ],
)
def test_what_one_led_shows(cell, told):
    wiring = plain(4, 3)
    assert explain(wiring, wiring.cell)._shows(cell) == told


def test_what_is_no_source_is_refused_with_what_to_give():
    with pytest.raises(PictureError, match="source has shape") as refused:
        explain(plain(4, 3), np.zeros(5, dtype=np.int64))
    assert refused.value.fix == "give one whole number for each LED."


def test_a_piece_turned_round_is_in_order_and_a_shuffled_one_is_not():
    leds = np.arange(8)
    assert not _without_order(leds, leds[::-1])
    assert not _without_order(leds, (leds + 3) % 8)
    assert _without_order(leds, np.array([3, 0, 6, 1, 7, 4, 2, 5]))


def test_a_picture_drawn_by_the_numbers_of_a_narrower_grid():
    """3 × 2 cells written to LED 2 · row + column; LED 2 gets two of them, and keeps the later."""
    wall = Wall(plain(3, 2, path="progressive"))
    grid = OtherGrid(2, 2, "drawn", "dark")
    assert grid.cells(wall, wall.words).tolist() == [0, 1, 3, 4, 5, NEVER_LIT]


def test_what_is_drawn_outside_is_lost_and_what_is_asked_there_is_dark_or_not():
    ways = [(grid.how, grid.outside) for grid in variants(OtherGrid(2, 2, "asked", "dark"))]
    asked = [
        (how, where) for how in ("asked", "asked, one chain") for where in ("dark", "edge", "round")
    ]
    assert sorted(ways) == sorted([*asked, ("drawn", "dark"), ("drawn by columns", "dark")])


def test_wrong_colours_of_many_kinds_are_counted():
    """LED n shows the bits of n + 1: eight ways among twelve LEDs, four of them twice."""
    shown = np.array([[[led >> n & 1 for n in range(3)] for led in range(1, 13)]] * 3, dtype=float)
    shown[1] = shown[0, ::-1]
    *told, rest = explain_colours(plain(12, 1), shown)
    counts = [finding.evidence.split("; ")[1] for finding in told]
    assert counts == 4 * ["2 LEDs of 12 do so"] + 2 * ["1 LED of 12 does so"]
    assert rest.what == "2 LEDs show other wrong colours, in 2 ways"


def test_of_the_stretches_that_fit_those_of_fewest_leds_in_front_come_first():
    firsts = [offset.first for offset in _around((), 3, 6, 2, 10)]
    assert firsts == sorted(firsts, reverse=True)
    assert set(firsts) == {1, 3}


@pytest.mark.parametrize(("fill", "gain"), [("through", 3), ("dark", 3), ("around", 2)])
def test_what_an_offset_by_one_sets_right(fill, gain):
    """Three LEDs of which each shows what the one before was to show; the first shows nothing."""
    shown, seen = np.array([0, 1, 2]), np.array([NEVER_LIT, 0, 1])
    gains = _Gains(shown, seen, np.zeros(3, dtype=bool), np.array([False, True, True]), 1)
    assert gains.of(Offset((), 0, None, 1, fill)) == gain


def test_where_a_map_counts_the_gap_each_line_loses_its_own_last_cells():
    """Rows of three, a line each, without the middle cell of the first."""
    wall = Wall(
        shorthand(np.array([[0, 1, 0], [0, 0, 0]], dtype=bool), path="progressive", lines=2)
    )
    counted = Words("top-left", "rows", "progressive", 2, skips_gap=False)
    assert wall.shorthand_cells(counted).tolist() == [0, 1, 3, 4, 5]
