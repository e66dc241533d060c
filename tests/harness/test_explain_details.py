"""What the explanations say beside the sentence: lists of numbers, distances, remedies."""

from __future__ import annotations

import doctest

import numpy as np
import pytest

from emulator.description.wiring import shorthand
from harness.explain import explain, explain_colours, numbers
from harness.explain.detectors import _nearest
from harness.explain.numbers import counted, joined, led_names, listed, many
from harness.explain.offsets import Offset
from harness.explain.wall import Wall
from harness.explain.words import _place
from harness.faults import FAULTS


def plain(columns, rows, **words):
    return shorthand(np.zeros((rows, columns), dtype=bool), **words)


def test_the_examples_of_numbers_in_sentences_are_true():
    failed, tried = doctest.testmod(numbers)
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


def test_channels_in_another_order_are_to_be_sent_in_another_order():
    shown = np.repeat(np.eye(3)[:, [1, 0, 2]][:, None, :], 30, axis=1)
    (finding,) = explain_colours(plain(6, 5), shown)
    assert finding.remedy.startswith("Change the order in which the code sends the channels")
    shown = np.repeat(np.diag([1.0, 1.0, 0.0])[:, None, :], 30, axis=1)
    shown[:, :15] = np.eye(3)[:, None, :]
    for finding in explain_colours(plain(6, 5), shown):
        assert finding.remedy.startswith("See that the code writes every channel of these LEDs.")


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
