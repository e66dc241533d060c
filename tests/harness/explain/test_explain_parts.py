"""The parts of an explanation, each by itself, with walls small enough to work out by hand."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from emulator.description.wiring import shorthand
from emulator.errors import PictureError
from harness.explain import explain, explain_colours
from harness.explain.detectors import _without_order, shuffled
from harness.explain.grids import OtherGrid, variants
from harness.explain.named import place
from harness.explain.offsets import _around, _Gains, offsets
from harness.explain.operations import Backwards, MadeFor, MapIs, Offset, Taken
from harness.explain.search import _order
from harness.explain.sound import _baseless, _lesser, trimmed
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
    """Row 1 has one LED, which stays the same backwards; it shows another LED's cell."""
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
    """Three LEDs: each shows what was meant for the one before; the first shows nothing."""
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


def test_light_in_bytes_is_explained_like_light_in_floats():
    """Sums of bytes would overflow: 200 in each of three channels is more than 255."""
    shown = np.zeros((3, 12, 3), np.uint8)
    shown[0, :, 1] = shown[1, :, 0] = shown[2, :, 2] = 200
    shown[:, 3] = 200
    wiring = plain(4, 3)
    assert explain_colours(wiring, shown) == explain_colours(wiring, shown.astype(float))


def test_four_leds_of_a_run_in_no_order_are_a_shuffled_run():
    source = np.arange(24)
    source[8:12] = [10, 8, 11, 9]  # steps of -2, 3, -2; distances of 2, -1, 1 and -2
    proposal = next(iter(shuffled(state_of(plain(4, 6, path="progressive"), source))))
    assert proposal[0].leds == (8, 9, 10, 11)


def test_a_wrong_cell_is_refused_with_the_cells_there_are():
    with pytest.raises(PictureError, match="11 and the marks are"):
        explain(plain(4, 3), np.full(12, 12))


def test_a_stretch_goes_from_its_first_to_its_last_led():
    """Of rows of 6 the last two LEDs of one and the first two of the next: no row half wrong."""
    wall = Wall(plain(6, 4, path="progressive"))
    changed = wall.wiring.cell.copy()
    changed[[4, 5, 6, 7]] = changed[[7, 6, 5, 4]]
    operation = SimpleNamespace(apply=lambda cell, wall: changed)
    words, (leds, _) = place(operation, wall)
    assert leds.tolist() == [4, 5, 6, 7]
    assert words == "LED 4 to LED 7"


def test_a_start_counts_neighbours_from_cell_0_on():
    """All four LEDs right, and three of them next to what the LED before shows."""
    assert _order(state_of(plain(4, 1), [0, 1, 2, 3])) == 4 + 3


@pytest.mark.parametrize(("wrong", "cut"), [(2, 0), (3, None)])
def test_a_statement_is_cut_that_names_more_right_leds_than_wrong_ones(wrong, cut):
    """An operation that changes five LEDs: with two of them wrong it accuses three right ones."""
    accused = np.arange(10) < wrong
    seen = SimpleNamespace(wrong=accused)
    wall = SimpleNamespace(as_seen=lambda prediction: prediction)
    right = np.ones(10, bool)
    before, after = np.arange(10), np.arange(10)
    after[:5] += 100
    stages = [
        SimpleNamespace(wall=wall, seen=seen, prediction=before, right=right),
        SimpleNamespace(wall=wall, seen=seen, prediction=after, right=right),
    ]
    assert _baseless(stages, (Backwards("run", (0,)),)) == cut
