"""What `foreglow survey` says, and its picture."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from emulator import parse_display
from harness.report.survey.picture import draw_survey
from harness.report.survey.terminal import print_survey
from harness.report.terminal import as_text
from harness.survey.told import MARKS, told
from tests.harness.survey.exact import seen_of

WALL = parse_display(
    '[grid]\ncolumns = 5\nrows = 3\n[chip]\npart = "WS2812B"\n[wiring]\n', Path("wall.toml")
)


def text_of(survey):
    console, text = as_text(100)
    print_survey(survey, console)
    return " ".join(text.getvalue().split())


def test_a_right_wall_is_as_planned():
    text = text_of(told(seen_of(WALL)))
    assert "15 of 15 LEDs read" in text
    assert text.endswith("The wall is as planned.")


def test_a_fault_comes_with_its_place_what_to_measure_and_one_caution():
    text = text_of(told(seen_of(WALL, ["led-dark led=3", "led-dark led=12"])))
    assert "13 of 15 LEDs read, 2 dark" in text
    assert "led-dark: LED 3" in text
    assert "seen from the back: second from the left, first row from the top" in text
    assert "Measure first: 5 V between + and ground at that LED" in text
    assert text.count("never solder with the power on") == 1
    assert "does not make the wall right" in text


def test_what_was_not_read_is_listed_with_its_reason():
    seen = seen_of(WALL)
    seen.number[1, 2] = seen.column[7] = seen.row[7] = -1
    why = (*[""] * 7, "cells beside it bleed into it", *[""] * 7)
    text = text_of(told(replace(seen, why=why)))
    assert "LED 7: cells beside it bleed into it" in text
    assert "What was read is as planned." in text


def test_the_picture_boxes_what_is_not_as_planned():
    survey = told(seen_of(WALL, ["led-dark led=3"]))
    picture = draw_survey(survey)
    assert survey.marks[0, 3] == MARKS.index("dark")
    px = picture.shape[1] // 5
    red, green, _ = picture[0, 3 * px].astype(int)
    assert red > 200 > green + 60
    inner = picture[px // 4, 3 * px + px // 4]
    assert (inner < 40).all()  # the film's own frame: that cell is dark
    assert not np.array_equal(picture[0, 2 * px], picture[0, 3 * px])
    assert picture.shape[0] > 3 * px  # the legend
