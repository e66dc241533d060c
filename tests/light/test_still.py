"""Pictures without a screen: a still of the wall, and a contact sheet."""

from __future__ import annotations

import numpy as np
import pytest

from emulator import load_display
from emulator.light.still import FRAME, PAGE, contact_sheet, still
from emulator.light.wall import WallView


@pytest.fixture(scope="module")
def foyer():
    return load_display("foyer")


def lit(display, *rgb):
    cells = np.zeros(display.picture_shape, np.float32)
    cells[~display.gap] = rgb
    return cells


def test_a_still_is_the_drawn_wall(foyer):
    cells = np.random.default_rng(8).random(foyer.picture_shape).astype(np.float32)
    image = still(foyer, cells, 720)
    assert (image.mode, image.size) == ("RGB", (720, 400))
    assert (np.asarray(image) == WallView(foyer, 720).draw(cells)).all()


def test_two_stills_do_not_share_memory(foyer):
    dark, red = still(foyer, lit(foyer, 0, 0, 0), 180), still(foyer, lit(foyer, 1, 0, 0), 180)
    assert np.asarray(dark).max() == 0
    assert np.asarray(red)[:, :, 0].max() == 255


def test_numbers_are_white_on_dark_cells_and_black_on_bright_ones(foyer):
    dark = np.asarray(still(foyer, lit(foyer, 0, 0, 0), 1440, numbers=True))
    assert dark.min(axis=2).max() == 255
    gap = dark[9 * 40 : 11 * 40, 17 * 40 : 19 * 40]
    assert gap.max() == 0, "no number where there is no LED"
    bright = np.asarray(still(foyer, lit(foyer, 1, 1, 1), 1440, numbers=True))
    # LED 1, a stem with nothing beside it: one black stroke, not a white one between black edges.
    stem = bright[20, 40:80].max(axis=1) < 100
    assert (np.diff(stem.astype(int)) == 1).sum() == 1


def test_numbers_at_the_edge_are_not_cut(foyer):
    image = np.asarray(still(foyer, lit(foyer, 0, 0, 0), 480, numbers=True)).max(axis=2)
    assert image[:, 0].max() < 128
    assert image[:, -1].max() < 128
    assert image[:, -24:].max() > 240


def test_a_contact_sheet_has_a_tile_for_each_picture_in_reading_order(foyer):
    colours = [(1, 0, 0), (0, 1, 0), (0, 0, 1), (1, 1, 0), (0, 1, 1)]
    page = contact_sheet(foyer, [(str(c), lit(foyer, *c)) for c in colours], columns=2)
    pixels = np.asarray(page).astype(int)
    assert page.width == 1200
    assert tuple(pixels[0, 0]) == tuple(pixels[-1, -1]) == PAGE
    # A tile's frame, then the tile: the corners of the frames tell where the tiles are.
    frame = (pixels == FRAME).all(axis=2)
    corner = frame[:-1, :-1] & frame[1:, :-1] & frame[:-1, 1:] & ~frame[1:, 1:]
    corners = [tuple(p) for p in np.argwhere(corner)]
    assert len(corners) == 5
    tile = WallView(foyer, (1200 - 3 * 24) // 2)
    for (y, x), colour in zip(sorted(corners), colours, strict=True):
        inside = pixels[y + 1 : y + 1 + tile.height, x + 1 : x + 1 + tile.width]
        assert (inside == tile.draw(lit(foyer, *colour))).all()
        below = pixels[y + tile.height + 3 : y + tile.height + 30, x : x + tile.width]
        assert below.min(axis=2).max() > 180, "a label, light on the dark page"


def test_a_long_label_is_cut_to_its_tile(foyer):
    cells = lit(foyer, 0, 0, 0)
    short = np.asarray(contact_sheet(foyer, [("a", cells), ("b", cells)], columns=2))
    long = np.asarray(contact_sheet(foyer, [("a" * 500, cells), ("b", cells)], columns=2))
    assert short.shape == long.shape
    assert (short[:, 590:] == long[:, 590:]).all(), "the second tile is as it was"
    assert (short[:, :590] != long[:, :590]).any()


@pytest.mark.parametrize("name", ["banner", "sign", "foyer"])
@pytest.mark.parametrize("columns", [1, 4])
def test_a_page_of_any_display_is_as_wide_as_asked(name, columns):
    display = load_display(name)
    pictures = [("dark", lit(display, 0, 0, 0))] * 6
    page = contact_sheet(display, pictures, columns=columns, pixels_wide=800)
    assert page.width == 800
    assert page.height < 6 * 900


def test_an_empty_page_is_refused(foyer):
    with pytest.raises(ValueError, match="at least one picture"):
        contact_sheet(foyer, [])
    with pytest.raises(ValueError, match="one column"):
        contact_sheet(foyer, [("dark", lit(foyer, 0, 0, 0))], columns=0)
