"""What is said of LEDs that no cell shows."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from emulator import parse_display
from harness.patterns.film import film_words
from harness.survey.decoding import read_cells
from harness.survey.seeing import too_few
from harness.survey.seen import Outline
from harness.survey.sighting import Sighted
from harness.survey.standing import (
    ALONE,
    BESIDE,
    BETWEEN,
    BLURRED,
    OUTSIDE,
    Cells,
    standing_of,
)
from harness.survey.wall import astray

WALL = parse_display(
    '[grid]\ncolumns = 5\nrows = 4\n[chip]\npart = "WS2812B"\n[wiring]\n', Path("wall.toml")
)

WORDS = film_words(20)
NONE = np.zeros(20, dtype=bool)


def cells_of(dark: list[int], stirring: np.ndarray | None = None) -> Cells:
    """What a film shows in which all LEDs but some are read."""
    wiring = WALL.wiring
    number = np.full((4, 5), -1)
    number[wiring.row, wiring.column] = np.arange(20)
    number[wiring.row[dark], wiring.column[dark]] = -1
    lit = (number >= 0).astype(float)
    own = np.zeros((WORDS.shape[1], 4, 5))
    nothing = np.zeros((4, 5), dtype=bool)
    moves = nothing if stirring is None else stirring
    return Cells(number, lit, lit, own, nothing, nothing, nothing, moves)


def test_an_led_whose_number_blinks_beside_the_cells_is_uncertain_and_not_dark():
    standing = standing_of(WALL, cells_of([18, 19]), WORDS, np.arange(20) != 19, NONE)
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


def test_an_led_beside_light_that_cannot_be_read_is_not_called_dark():
    """As in a corner where pictures lie wrong on each other: it has light, but shows no number."""
    wiring = WALL.wiring
    stirring = np.zeros((4, 5), dtype=bool)
    stirring[3, 4] = True
    dark = np.flatnonzero((wiring.row >= 2) & (wiring.column >= 3)).tolist()
    far = int(np.flatnonzero((wiring.row == 0) & (wiring.column == 0))[0])
    standing = standing_of(WALL, cells_of([far, *dark], stirring), WORDS, NONE, NONE)
    assert [standing.why[led] for led in dark] == [BLURRED] * 4
    assert standing.why[far] == ""  # dark: nothing stirs there


def test_an_led_outside_the_pictures_is_not_called_dark():
    cells = cells_of([7])
    wiring = WALL.wiring
    outside = cells.outside.copy()
    outside[wiring.row[7], wiring.column[7]] = True
    standing = standing_of(WALL, replace(cells, outside=outside), WORDS, NONE, NONE)
    assert standing.why[7] == OUTSIDE


def test_an_led_that_blinks_nearer_another_cell_is_uncertain():
    """The cells of a row 10 px apart; number 3 blinks 6 px beside the middle of the one that shows
    it, and number 5 at two places, one of them right."""
    shows = np.where(WORDS[:6], 1.0, -1.0).T[:, None, :]
    outline = Outline(np.array([[10.0, 0, 0], [0, 10.0, 0], [0, 0, 1]]))
    places = np.array([[0, 0], [11, 2], [17, 0], [36, 0], [50, 3], [20.0, 0]])
    found = Sighted(places, np.array([0, 1, 2, 3, 5, 5]), np.ones(6))
    off = astray(read_cells(shows, WORDS), outline, found, 20)
    assert np.flatnonzero(off).tolist() == [3]
    assert standing_of(WALL, cells_of([]), WORDS, NONE, off).why[3] == BETWEEN


@pytest.mark.parametrize("unread", [True, False])
def test_an_led_found_elsewhere_among_cells_that_cannot_be_read_is_uncertain(unread):
    """LED 0 at the corner shows in the cell below; whether that is so depends on what is around."""
    wiring = WALL.wiring
    right_down = [n for n in range(20) if wiring.row[n] < 3 and wiring.column[n] < 2]
    cells = cells_of(right_down)
    cells.number[1, 0], cells.confidence[1, 0] = 0, 1.0
    vague = (cells.number < 0) & unread
    standing = standing_of(WALL, replace(cells, vague=vague), WORDS, NONE, NONE)
    assert (standing.row[0], standing.column[0]) == (1, 0)
    assert standing.why[0] == (ALONE if unread else "")
