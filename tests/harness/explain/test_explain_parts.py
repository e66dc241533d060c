"""The parts of an explanation, each by itself, with walls small enough to work out by hand."""

from __future__ import annotations

import numpy as np
import pytest

from emulator.description.wiring import shorthand
from harness.explain.grids import OtherGrid
from harness.explain.offsets import offsets
from harness.explain.operations import Backwards, MadeFor, MapIs, Taken
from harness.explain.sound import _lesser, trimmed
from harness.explain.state import Seen, State
from harness.explain.wall import Wall, Words
from harness.explain.words import statement
from harness.patterns.coded import NEVER_LIT


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
            ("counts the gap cells as LEDs", "passes them over"),
        ),
    ],
)
def test_what_the_map_does_and_what_the_wiring_does(words, told):
    gap = np.zeros((4, 4), dtype=bool)
    gap[1, 1] = True
    wall = Wall(shorthand(gap))
    said = statement(MapIs(words, wall.words.differences(words)), wall)
    assert f"the map {told[0]}, the wiring {told[1]}" in said.what
