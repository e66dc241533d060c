"""Pieces of strip with other light: a step at their ends, or one row alone."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from emulator import parse_display
from harness.survey.shades import shades, without_print

WALL = parse_display(
    '[grid]\ncolumns = 24\nrows = 6\n[chip]\npart = "WS2812B"\n[wiring]\n', Path("wall.toml")
)


def shades_of(light):
    """Of a wall with this light (rows, columns) beside the smooth surface, in all colours."""
    share = np.repeat(light[..., None], 4, axis=2)
    return shades(WALL, share, np.zeros(light.shape))


@pytest.mark.parametrize("level", [0.8, 1.25])
def test_a_piece_with_a_step_at_its_ends_is_found(level):
    light = np.ones((6, 24))
    light[2, 6:15] = level
    (piece,) = shades_of(light).pieces
    assert (piece.first, piece.last) == (48 + 6, 48 + 14)
    assert piece.light == pytest.approx([level] * 3)


def test_a_shadow_that_grows_slowly_over_the_rows_is_no_piece():
    """It goes on in the rows beside it; the same in one row alone is a piece."""
    across = 1 - 0.2 * np.exp(-(((np.arange(24) - 12) / 4) ** 2))
    assert shades_of(np.tile(across, (6, 1))).pieces == ()
    alone = np.ones((6, 24))
    alone[2] = across
    assert len(shades_of(alone).pieces) == 1


def test_a_piece_that_differs_as_other_columns_do_is_none():
    """Columns are dimmer or brighter by turns where they meet the camera's pixels another way."""
    for by, found in ((0.0, 1), (0.03, 0)):
        light = np.ones((6, 24)) * np.exp(by * np.resize([1, -1, 0.5], (6, 1)))
        light[2, 4:20] *= 0.88
        even, why = without_print(shades_of(light), WALL)
        assert (len(even.pieces), why) == (found, "")
