"""Films that are mirrored or turned."""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from pathlib import Path

import numpy as np
import pytest

from emulator import parse_display
from harness.survey.upright import UPRIGHT, Turn, turn_of
from tests.harness.survey.exact import seen_of

WALL = parse_display(
    '[grid]\ncolumns = 7\nrows = 5\n[chip]\npart = "WS2812B"\n[wiring]\n', Path("wall.toml")
)
TURNS = [Turn(*flags) for flags in product((False, True), repeat=3)]


def test_the_eight_symmetries_of_a_square_differ():
    square = np.arange(9).reshape(3, 3)
    assert len({turn.undo(square).tobytes() for turn in TURNS}) == 8


@pytest.mark.parametrize("turn", TURNS)
def test_words_fit_what_numpy_does(turn):
    """A film turned by 90° to the left is numpy's rot90 of the wall, and so on."""
    wall = np.arange(9).reshape(3, 3)
    films = {
        "upright": wall, "mirrored left-right": np.fliplr(wall), "upside down": np.flipud(wall),
        "turned by 180°": np.rot90(wall, 2), "turned by 90° to the left": np.rot90(wall),
        "turned by 90° to the right": np.rot90(wall, -1),
    }  # fmt: skip
    words = turn.words()
    if words in films:
        np.testing.assert_array_equal(turn.undo(films[words]), wall)
    else:
        transposed = (wall.T, np.rot90(wall, 2).T)
        assert any(np.array_equal(turn.undo(film), wall) for film in transposed)


def test_the_cell_of_the_film_is_where_the_planned_cell_is_seen():
    turn = Turn(mirrored=True)
    assert turn.filmed(1, 3).tolist() == [2, 1, 0]


def test_few_leds_or_a_third_that_disagree_do_not_turn_the_film():
    """It takes eight LEDs, and nine of ten that agree with the turned plan."""
    mirrored = seen_of(WALL)
    mirrored.number[:] = mirrored.number[:, ::-1].copy()
    assert turn_of(mirrored) == Turn(mirrored=True)
    few = replace(mirrored, number=mirrored.number.copy())
    few.number.reshape(-1)[7:] = -1
    assert turn_of(few) == UPRIGHT
    mixed = replace(mirrored, number=mirrored.number.copy())
    third = mixed.number.reshape(-1)[::3]
    third[:] = np.roll(third, 1)
    assert turn_of(mixed) == UPRIGHT
