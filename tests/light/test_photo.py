"""A camera's exposure."""

from __future__ import annotations

import numpy as np
import pytest

from emulator import load_display
from emulator.light.look import Look
from emulator.light.photo import photo_look
from emulator.light.wall import WallView


@pytest.fixture(scope="module")
def foyer():
    return load_display("foyer")


def test_a_dim_even_wall_is_exposed_to_middle_grey_or_for_its_highlights(foyer):
    cells = np.full(foyer.picture_shape, 0.1, np.float32)
    look = photo_look(foyer, cells, Look())
    luminance = WallView(foyer, 480).luminance(cells)
    assert look.white_cdm2 == pytest.approx(float(luminance.mean()) / 0.18, rel=1e-4)
    drawn = WallView(foyer, 480, look).draw(cells)
    # IEC 61966-2-1: 0.18 is code 118.
    assert 105 < np.median(drawn) < 130


def test_a_few_letters_on_a_dark_wall_are_not_burnt_out(foyer):
    cells = np.zeros(foyer.picture_shape, np.float32)
    cells[5:12, 3] = 1
    look = photo_look(foyer, cells, Look())
    drawn = WallView(foyer, 480, look).draw(cells)
    assert (drawn.max(axis=2) == 255).mean() < 0.015


def test_half_the_light_gives_the_same_photo_and_a_dark_wall_none(foyer):
    cells = np.random.default_rng(1).random(foyer.picture_shape).astype(np.float32)
    bright, dim = (photo_look(foyer, c, Look()).white_cdm2 for c in (cells, cells / 2))
    assert bright == pytest.approx(2 * dim, rel=1e-3)
    assert photo_look(foyer, 0 * cells, Look()) == Look()
