"""Colours in another order: on the whole wall, or on a piece of it, whatever the camera's white."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations
from pathlib import Path

import numpy as np
import pytest

from emulator import parse_display
from harness.survey.hues import PLANNED, Order, in_order, letters_for
from harness.survey.told import told
from tests.harness.survey.exact import seen_of

WALL = parse_display(
    '[grid]\ncolumns = 7\nrows = 5\n[chip]\npart = "WS2812B"\n[wiring]\n', Path("wall.toml")
)
# How much of red, green and blue each channel of a camera takes up: from memory of such figures.
SPILL = np.array([[1, 0.2, 0.1], [0.25, 1, 0.3], [0.05, 0.3, 1]])


def filmed(seen, rng):
    """The same film by a camera with some white balance, whose channels see other colours too."""
    white = rng.uniform(0.5, 2, 3)
    hues = np.where(np.isnan(seen.hues), np.nan, np.nan_to_num(seen.hues) @ SPILL * white)
    hues = hues * rng.uniform(0.4, 1, (3, 1)) * rng.normal(1, 0.04, hues.shape)
    own = np.diagonal(hues, axis1=2, axis2=3)
    return replace(seen, hues=hues, light=own / np.nanmedian(own[~seen.display.gap], axis=0))


@pytest.mark.parametrize("order", [*permutations(range(3))])
def test_any_order_of_the_whole_wall_is_told_and_its_letters_make_it_right(order):
    """A wall whose chips take the bytes in the order named shows what the plan means."""
    plan = seen_of(WALL)
    hues = np.zeros_like(plan.hues)
    for picture, shown in enumerate(order):
        hues[:, :, picture, shown] = plan.hues[:, :, picture, picture]
    seen, found = in_order(filmed(replace(plan, hues=hues), np.random.default_rng(5)))
    assert found == Order(*order)
    # The byte that the plan sends for a colour comes to the chip's letter at the same place.
    letters = letters_for(found, WALL)
    for picture, shown in enumerate(order):
        assert letters["GRB".index("RGB"[picture])] == "RGB"[shown]
    assert np.nanmedian(seen.light, axis=(0, 1)) == pytest.approx([1, 1, 1])


def test_chips_of_another_order_are_named_with_the_fix_in_the_display_file():
    """WS2811 takes red first, WS2812B green (their datasheets)."""
    fault = "other-chip first=0 last=34 chip=WS2811-HIGH"
    survey = told(filmed(seen_of(WALL, [fault]), np.random.default_rng(1)))
    assert [one.what for one in survey.findings] == [
        "the order of the colours is another one: all red shows green and all green shows red"
    ]
    assert 'order = "RGB"' in survey.findings[0].remedy
    assert fault in [str(one) for one in survey.causes[0].faults]
    assert 'order = "RGB"' in survey.as_built.lacks


def test_a_piece_in_another_order_is_found_through_a_camera():
    fault = "other-chip first=7 last=13 chip=WS2811-HIGH"
    survey = told(filmed(seen_of(WALL, [fault]), np.random.default_rng(2)))
    assert fault in [str(one) for one in survey.causes[0].faults]
    assert len(survey.findings) == 1


def test_colours_that_are_clipped_to_white_say_nothing():
    seen = seen_of(WALL)
    white = replace(seen, hues=np.where(np.isnan(seen.hues), np.nan, 0.95))
    assert in_order(white)[1] == PLANNED
