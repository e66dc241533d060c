"""What is said of LEDs that no cell shows."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from emulator import parse_display
from harness.patterns.film import film_words
from harness.survey.seeing import too_few
from harness.survey.sighting import Sighted
from harness.survey.standing import BESIDE, Cells, standing_of

WALL = parse_display(
    '[grid]\ncolumns = 5\nrows = 4\n[chip]\npart = "WS2812B"\n[wiring]\n', Path("wall.toml")
)


def test_an_led_whose_number_blinks_beside_the_cells_is_uncertain_and_not_dark():
    words = film_words(20)
    number = np.full((4, 5), -1)
    wiring = WALL.wiring
    number[wiring.row, wiring.column] = np.arange(20)
    number[wiring.row[18:], wiring.column[18:]] = -1
    lit = number >= 0
    nothing = np.zeros((4, 5), dtype=bool)
    cells = Cells(
        number, lit.astype(float), lit.astype(float), np.zeros((words.shape[1], 4, 5)),
        nothing, nothing, nothing, nothing,
    )  # fmt: skip
    blinking = np.arange(20) != 19
    standing = standing_of(WALL, cells, words, blinking)
    assert standing.why == ("",) * 18 + (BESIDE, "")  # 19 is dark, and that is certain
    assert (standing.row[18:] == -1).all()


@pytest.mark.parametrize(
    ("numbers", "says"),
    [
        ([0, 1], "those of LEDs 0 to 1 blink"),
        ([1, 2, 0, 0], "those of LEDs 0 to 2 blink"),
        ([0], "do not show"),
        ([3, 4], "do not show"),
        ([0, 1, 7], "do not show"),
        (list(range(20)), "do not show"),
        ([], "do not show"),
    ],
)
def test_a_wall_that_is_dark_from_an_led_on_is_said_to_be(numbers, says):
    many = len(numbers)
    found = Sighted(np.zeros((many, 2)), np.array(numbers, dtype=np.int64), np.ones(many))
    error = too_few(found, "film.mp4", WALL)
    assert says in str(error)
    assert ("first: the data joint" in str(error)) == ("those of" in says)
