"""A camera's exposure."""

from __future__ import annotations

import numpy as np
import pytest

from emulator import load_display
from emulator.light.look import Look
from emulator.light.photo import photo_look
from emulator.light.wall import WallView
from tests.tables import telling


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


@pytest.mark.parametrize("led_colours", telling([False, True], lambda led_colours: led_colours))
@pytest.mark.parametrize("colour", [(1, 1, 1), (1, 0, 0), (0, 0, 1), (1, 0.25, 0.02)], ids=str)
def test_no_more_than_a_hundredth_is_overexposed_whatever_the_colour(foyer, colour, led_colours):
    # A seventh of the wall, from dim to full: exposed for its mean, most of it would be burnt out;
    # exposed for its luminance, a red or blue would be (0.2126 and 0.0722 of white: IEC 61966-2-1).
    cells = np.zeros(foyer.picture_shape, np.float32)
    cells[:, :5] = np.linspace(0.3, 1, 20, dtype=np.float32)[:, None, None] * np.float32(colour)
    look = photo_look(foyer, cells, Look(led_colours=led_colours))
    drawn = WallView(foyer, 480, look).draw(cells)
    burnt = (drawn.max(axis=2) == 255).mean()
    assert burnt <= 0.015
    # Nor is it darker than it need be: what is burnt out begins right there.
    assert (drawn.max(axis=2) > 240).mean() > 0.01


def test_the_light_around_is_metered_too(foyer):
    # A Lambertian face, by hand: 100 lx, of which half is thrown back, 100·0.5/π cd/m² all over.
    look = photo_look(foyer, np.zeros(foyer.picture_shape, np.float32), Look(ambient_lx=100))
    assert look.white_cdm2 == pytest.approx(100 * 0.5 / np.pi / 0.18, rel=1e-5)
