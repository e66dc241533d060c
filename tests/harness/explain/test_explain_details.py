"""The parts of an explanation beside its sentence: lists of numbers, distances, remedies."""

from __future__ import annotations

import doctest

import numpy as np
import pytest

from emulator.description.wiring import shorthand
from harness.explain import explain, explain_colours
from harness.explain.detectors import _nearest
from harness.explain.grids import OtherGrid
from harness.explain.lednames import led_names
from harness.explain.offsets import Offset, _around
from harness.explain.sizes import size_words
from harness.explain.wall import Wall
from harness.explain.words import _place
from harness.mistakes import FAULTS
from harness.patterns.coded import NEVER_LIT
from harness.result import words
from harness.result.words import counted, joined, listed, many


def plain(columns, rows, **words):
    return shorthand(np.zeros((rows, columns), dtype=bool), **words)


def test_the_examples_of_numbers_in_sentences_are_true():
    failed, tried = doctest.testmod(words)
    assert (failed, tried >= 3) == (0, True)


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ([3, 4, 5], "3, 4 and 5"),
        ([3, 4, 5, 6], "3 to 6"),
        ([2, 4, 6, 8], "2, 4, 6 and 8"),
        ([2, 4, 6, 8, 10], "2, 4, 6 … 10"),
        ([5, 1, 9], "1, 5 and 9"),
        ([], ""),
    ],
)
def test_lists_of_numbers(given, told):
    assert listed(given) == told


def test_nouns_go_with_their_number():
    assert (counted("row", [4]), counted("row", [4, 6])) == ("row 4", "rows 4 and 6")
    assert (many(1), many(12), many(0, "row")) == ("1 LED", "12 LEDs", "0 rows")
    assert joined(list("abcdef")) == "a, b, c, d, e and f"
    assert joined(list("abcdefg")) == "a, b, c, d, e, f … (7 in all)"
    assert joined(list("abcdefg"), 20) == "a, b, c, d, e, f … (20 in all)"
    assert led_names(Wall(plain(4, 3)), [2, 5]) == "LEDs 2 and 5"
    assert led_names(Wall(plain(4, 4, lines=2)), [2, 9]) == "line 0, LED 2; line 1, LED 1"


def test_the_way_round_a_ring_is_the_shorter_one():
    assert [_nearest(by, 7) for by in range(7)] == [0, 1, 2, 3, -3, -2, -1]
    assert [_nearest(by, 6) for by in range(6)] == [0, 1, 2, 3, -2, -1]


def test_channels_in_the_wrong_order_are_to_be_sent_in_the_right_one():
    shown = np.repeat(np.eye(3)[:, [1, 0, 2]][:, None, :], 30, axis=1)
    (finding,) = explain_colours(plain(6, 5), shown)
    assert finding.remedy.startswith("Change the order in which the code sends the channels")
    shown = np.repeat(np.diag([1.0, 1.0, 0.0])[:, None, :], 30, axis=1)
    shown[:, :15] = np.eye(3)[:, None, :]
    for finding in explain_colours(plain(6, 5), shown):
        assert finding.remedy.startswith("Check that the code writes every channel of these LEDs.")


def test_leds_that_are_left_over_still_differ_where_something_was_explained():
    wiring, rng = plain(24, 24), np.random.default_rng(3)
    mirrored = FAULTS["mirrored"].example(wiring, rng).apply(wiring.cell, wiring)
    for source, told in (
        (mirrored.copy(), "no further pattern found; {} still differ"),
        (wiring.cell.copy(), "no pattern found; {} differ"),
    ):
        picked = rng.choice(len(source), 40, replace=False)
        source[picked] = rng.permutation(source[picked])
        explanation = explain(wiring, source)
        left = many(len(explanation.remaining))
        assert explanation.findings()[-1].what == told.format(left)


def test_a_stretch_is_told_from_where_to_where():
    one, two = Wall(plain(4, 3)), Wall(plain(4, 4, lines=2))
    assert _place(Offset((), 3, None, 1), one) == "LED 3 on"
    assert _place(Offset((), 3, 9, 1), one) == "LED 3 to LED 9"
    assert _place(Offset((0, 1), 3, None, 1), two) == "lines 0 and 1, LED 3 on"


def test_a_map_for_a_wider_wall_is_told_with_its_size():
    """y · 9 + x on a wall of 8 × 6, progressive; LEDs 8, 17 … have no cell."""
    wiring = plain(8, 6, path="progressive")
    drawn = np.full(54, NEVER_LIT)
    for y in range(6):
        for x in range(8):
            drawn[9 * y + x] = 8 * y + x
    (finding,) = explain(wiring, drawn[:48]).findings()
    assert "made for rows of 9; this wall has 8" in finding.what


def flat(columns, rows, outside="edge"):
    return OtherGrid(columns, rows, "flat", outside)


@pytest.mark.parametrize(
    ("columns", "rows", "outside", "cells"),
    [
        (4, 2, "edge", [0, 1, 2, 4, 5, 5]),
        (4, 2, "round", [0, 1, 2, 4, 5, 0]),
        (4, 2, "dark", [0, 1, 2, 4, 5, NEVER_LIT]),
        (2, 2, "edge", [0, 1, 2, 2, 3, 4]),
        # Column by column: number 3 · column + row, and the cell that has it in columns of two.
        (3, 3, "edge", [0, 4, 5, 3, 2, 5]),
    ],
)
def test_a_picture_counted_in_rows_or_columns_of_a_different_grid(columns, rows, outside, cells):
    wall = Wall(plain(3, 2, path="progressive"))
    assert flat(columns, rows, outside).cells(wall, None).tolist() == cells


def test_the_size_of_a_grid_is_that_of_the_side_that_differs():
    wall = Wall(plain(3, 2))
    assert size_words([flat(4, 2)], wall) == ("rows", "4", 3)
    assert size_words([flat(4, 2), flat(5, 2)], wall) == ("rows", "4 or 5", 3)
    assert size_words([flat(3, 7)], wall) == ("columns", "7", 2)
    four = [flat(n, 2) for n in (4, 5, 6, 7)]
    assert size_words(four, wall) == ("rows", "4 (or 3 others)", 3)


def test_a_stretch_up_to_the_end_has_no_last_led():
    to_the_end = {offset.last for offset in _around((), 3, 6, 1, 10)}
    assert to_the_end == {6, 7, None}
    assert {offset.first for offset in _around((), 3, 6, 1, 10)} == {2, 3}
    assert {offset.first for offset in _around((), 3, 6, -1, 10)} == {3}
    assert {offset.last for offset in _around((), 3, 9, 2, 10)} == {None}
