"""Answers as people write them: each line by hand."""

from __future__ import annotations

import numpy as np
import pytest

from emulator import load_display
from harness.find.answer import (
    BRIGHT,
    COLOUR,
    DARK,
    DIM,
    FINE,
    FLICKERS,
    MIXED,
    SPOT,
    UNSURE,
    WRONG,
)
from harness.find.lists import Unreadable
from harness.find.saying import said
from harness.find.words import read_answer
from harness.patterns.pattern import pattern

RED, GREEN, MAGENTA = COLOUR, COLOUR + 2, COLOUR + 5
FOYER = load_display("foyer")  # 36 columns, 20 rows; line 0 rows 0–9, line 1 rows 10–19; serpentine
W = FOYER.wiring
WHITE, CHECKER, BLACK = (pattern(n).draw(FOYER, s) for n, s in
                         (("channels", 3), ("checker", 0), ("dark", 0)))  # fmt: skip
ALL = np.ones(FOYER.leds, bool)

ROW, COLUMN, LINE, LED = W.row, W.column, W.line, W.led
SENTENCES = [
    ("fine", FINE, ALL),
    ("looks good", FINE, ALL),
    ("nothing wrong", FINE, ALL),
    ("all white", FINE, ALL),
    ("all red", RED, ALL),
    ("row 7 dark from the fifth", DARK, (ROW == 7) & (COLUMN >= 4)),
    ("row 7 drak form the fiffth", DARK, (ROW == 7) & (COLUMN >= 4)),
    ("rwo 7 dark from the fith", DARK, (ROW == 7) & (COLUMN >= 4)),
    ("al fine", FINE, ALL),
    ("nto sure", UNSURE, ALL),
    ("dunno", UNSURE, ALL),
    ("hard to tell", UNSURE, ALL),
    ("not a clue", UNSURE, ALL),
    ("couldn't see it", UNSURE, ALL),
    ("row 7 dark, from the 5th on", DARK, (ROW == 7) & (COLUMN >= 4)),
    ("Row 7, columns 4 to 35 dark", DARK, (ROW == 7) & (COLUMN >= 4)),
    ("row 6 is dark from column 10 to column 20", DARK, (ROW == 6) & (abs(COLUMN - 15) <= 5)),
    ("row 6 cells 10 to 20 dark", DARK, (ROW == 6) & (abs(COLUMN - 15) <= 5)),
    ("cells 10-20 of row 6 are dark", DARK, (ROW == 6) & (abs(COLUMN - 15) <= 5)),
    ("first LED flickers", FLICKERS, (LINE == 0) & (LED == 0)),
    ("the first lamp blinks now and then", FLICKERS, (LINE == 0) & (LED == 0)),
    ("column 3 wrong colour", WRONG, COLUMN == 3),
    ("colum 3 wronng color", WRONG, COLUMN == 3),
    ("the lower half dark", DARK, ROW >= 10),
    ("right half dim", DIM, COLUMN >= 18),
    ("upper left quarter dark", DARK, (ROW < 10) & (COLUMN < 18)),
    ("the left third is dark", DARK, COLUMN < 12),
    ("right half of row 7 dark", DARK, (ROW == 7) & (COLUMN >= 18)),
    ("led 143 green", GREEN, (LINE == 0) & (LED == 143)),
    ("LED 20 of line 1 is off", DARK, (LINE == 1) & (LED == 20)),
    ("line 1 led 20 dark", DARK, (LINE == 1) & (LED == 20)),
    ("LEDs 144 to 356 of line 0 dark", DARK, (LINE == 0) & (LED >= 144) & (LED <= 356)),
    ("leds 3, 5 and 9 dark", DARK, (LINE == 0) & np.isin(LED, [3, 5, 9])),
    ("everything after led 143 is dark", DARK, (LINE == 0) & (LED > 143)),
    ("dark from led 144", DARK, (LINE == 0) & (LED >= 144)),
    ("line 1 dark from led 5", DARK, (LINE == 1) & (LED >= 5)),
    ("rows 3 and 4 dark", DARK, (ROW == 3) | (ROW == 4)),
    ("second line dark", DARK, LINE == 1),
    ("top row reddish", RED, ROW == 0),
    ("last three columns dark", DARK, COLUMN >= 33),
    ("the last three of row 7 dark", DARK, (ROW == 7) & (COLUMN >= 33)),
    ("5th led in row 7 dark", DARK, (ROW == 7) & (COLUMN == 4)),
    ("first 3 leds dark", DARK, (LINE == 0) & (LED < 3)),
    ("cell 3, 5 dark", DARK, (COLUMN == 3) & (ROW == 5)),
    ("(3,5) dark", DARK, (COLUMN == 3) & (ROW == 5)),
    ("row 5, column 3 dark", DARK, (COLUMN == 3) & (ROW == 5)),
    ("the cell in row 5 and column 3 is dark", DARK, (COLUMN == 3) & (ROW == 5)),
    ("row 5; column 3 dark", DARK, (COLUMN == 3) | (ROW == 5)),
    ("both row 5 and column 3 are dark", DARK, (COLUMN == 3) | (ROW == 5)),
    ("LED 3 and row 5 dark", DARK, (LINE == 0) & (LED == 3) | (ROW == 5)),
    ("cell 3, 5; cell 4, 6 dark", DARK, (COLUMN == ROW - 2) & (abs(ROW - 5.5) < 1)),
    ("the top and the bottom row dark", DARK, (ROW == 0) | (ROW == 19)),
    ("the upper half and the lower half dark", DARK, ALL),
    ("the third and the last column dark", DARK, (COLUMN == 2) | (COLUMN == 35)),
    ("column 3 row 5 pink", MAGENTA, (COLUMN == 3) & (ROW == 5)),
    ("r5 c3 doesn't light", DARK, (COLUMN == 3) & (ROW == 5)),
    ("everything below row 9 dark", DARK, ROW > 9),
    ("odd rows wrong", WRONG, ROW % 2 == 1),
    ("every second column dark", DARK, COLUMN % 2 == 0),
    ("all dark except row 3", DARK, ROW != 3),
    ("everything but the first row is dark", DARK, ROW > 0),
    ("fine except led 7 dark", DARK, (LINE == 0) & (LED == 7)),
    ("only row 3 is lit", DARK, ROW != 3),
    ("row 3's too bright", BRIGHT, ROW == 3),
    ("led 9 has an odd spot", SPOT, (LINE == 0) & (LED == 9)),
    ("led 3 and led 5 dark", DARK, (LINE == 0) & np.isin(LED, [3, 5])),
    ("row 7 column 3, column 5 dark", DARK, (ROW == 7) & np.isin(COLUMN, [3, 5])),
    ("all dark except led 3 and led 5", DARK, (LINE == 1) | ~np.isin(LED, [3, 5])),
    ("leds 3 to 5 of line 0 and leds 7 to 9 of line 1 dark", DARK,
     ((LINE == 0) & (abs(LED - 4) < 2)) | ((LINE == 1) & (abs(LED - 8) < 2))),
    ("LED 24 of line 1 and all after it dark", DARK, (LINE == 1) & (LED >= 24)),
    ("from LED 24 of line 1 on everything is dark", DARK, (LINE == 1) & (LED >= 24)),
    ("row 7, the third from the left, is dark", DARK, (ROW == 7) & (COLUMN == 2)),
    ("light is missing from the left half", DARK, COLUMN < 18),
    ("row 7 dark from the left to the fifth", DARK, (ROW == 7) & (COLUMN < 5)),
    ("led 7 darker than the others", DIM, (LINE == 0) & (LED == 7)),
    ("led 7 is without light", DARK, (LINE == 0) & (LED == 7)),
    ("led 7 off colour", WRONG, (LINE == 0) & (LED == 7)),
    ("led 7 green instead of white", GREEN, (LINE == 0) & (LED == 7)),
    ("well, i think led 7 dark, all the others look right", DARK, (LINE == 0) & (LED == 7)),
    ("not sure", UNSURE, ALL),
    ("don't know", UNSURE, ALL),
    ("nothing lit", DARK, ALL),
    ("whole wall flickers", FLICKERS, ALL),
]  # fmt: skip


@pytest.mark.parametrize(("text", "word", "leds"), SENTENCES, ids=[row[0] for row in SENTENCES])
def test_an_answer_is_read_as_it_was_meant(text, word, leds):
    seen = read_answer(text, FOYER, WHITE)
    assert np.array_equal(seen, np.where(leds, word, FINE))


def test_several_parts_each_with_its_place():
    seen = read_answer("rows 3-5 dark; row 9 red, led 0 flickers", FOYER, WHITE)
    expected = np.zeros(FOYER.leds)
    expected[(ROW >= 3) & (ROW <= 5)] = DARK
    expected[ROW == 9] = RED
    expected[0] = FLICKERS
    assert np.array_equal(seen, expected)


def test_what_is_as_it_should_be_is_fine():
    assert not read_answer("all dark", FOYER, BLACK).any()
    assert np.flatnonzero(read_answer("led 5 lit", FOYER, BLACK)).tolist() == [5]


def test_a_large_part_of_a_detailed_picture_may_be_right_in_places():
    seen = read_answer("lower half wrong", FOYER, CHECKER)
    assert np.array_equal(seen, np.where(ROW >= 10, MIXED, FINE))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("banana", "'banana' is not clear"),
        ("", "nothing says what you see"),
        ("row 7", "nothing says what you see"),
        ("row 40 dark", "there is no row 40: they are numbered from 0 to 19"),
        ("5 dark", "Say row 5, column 5 or LED 5"),
        ("3 rows dark", "which 3 rows"),
        ("bla bla foo", "'bla' is not clear"),
        ("the thing over there", "'thing' is not clear"),
        ("led 3 is not dark", "'not' leaves open"),
        ("nothing red", "'nothing' leaves open"),
        ("something is odd", "'something' leaves open"),
        ("LED -1 dark", "'-1' is not clear"),
        ("row 1.5 dark", "'1.5' is not clear"),
        ("row 3 from the left dark", "columns from the left"),
        ("row 7 third from the right dark", "columns from the left"),
        ("led 3 and led 5 of line 1 dark", "say the line of each"),
        ("row 0 and column 2 dark", "say 'row 0, column 2' or 'row 0; column 2'"),
        ("the top row and the left column are dark", "'top row, left column' or"),
        ("columns 1 to 3 and rows 2 to 4 dark", "may be where they cross, or both"),
        ("the upper half and column 3 dark", "may be where they cross, or both"),
        ("row 7 quux dark", "the rest reads 'row 7 dark'"),
    ],
)
def test_an_answer_that_cannot_be_read_says_what_was_understood(text, says):
    with pytest.raises(Unreadable, match=says.replace("?", r"\?")):
        read_answer(text, FOYER, WHITE)


def test_what_is_said_again_is_read_as_the_same():
    """Random pieces of rows, columns and lines, said in words and read again."""
    rng = np.random.default_rng(3)
    for _ in range(15):
        seen = np.zeros(FOYER.leds, np.uint8)
        first, many = rng.integers(0, FOYER.leds), int(rng.integers(1, 200))
        way = (slice(first, first + many), np.isin(ROW, first % 20), np.isin(COLUMN, first % 36))[
            many % 3
        ]
        seen[way] = rng.choice([DARK, WRONG, DIM, FLICKERS, GREEN])
        assert np.array_equal(read_answer(said(seen, FOYER), FOYER, WHITE), seen)
