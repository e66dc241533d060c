"""Pictures without a screen: a still of the wall, and a contact sheet."""

from __future__ import annotations

import numpy as np
import pytest

from emulator import PictureError, load_display
from emulator.light.figures import figures
from emulator.light.front import with_cover
from emulator.light.look import Look
from emulator.light.still import FRAME, PAGE, contact_sheet, side_by_side, still
from emulator.light.wall import WallView
from emulator.picture.srgb import srgb_to_linear


@pytest.fixture(scope="module")
def foyer():
    return load_display("foyer")


def lit(display, *rgb):
    cells = np.zeros(display.picture_shape, np.float32)
    cells[~display.gap] = rgb
    return cells


def corners(page):
    """(y, x) of the frames' corners, in reading order: they tell where the tiles are."""
    frame = (np.asarray(page) == FRAME).all(axis=2)
    corner = frame[:-1, :-1] & frame[1:, :-1] & frame[:-1, 1:] & ~frame[1:, 1:]
    return sorted(tuple(p) for p in np.argwhere(corner))


def test_a_still_is_the_drawn_wall(foyer):
    cells = np.random.default_rng(8).random(foyer.picture_shape).astype(np.float32)
    image = still(foyer, cells, 720)
    assert (image.mode, image.size) == ("RGB", (720, 400))
    assert (np.asarray(image) == WallView(foyer, 720).draw(cells)).all()


def test_two_stills_do_not_share_memory(foyer):
    dark, red = still(foyer, lit(foyer, 0, 0, 0), 180), still(foyer, lit(foyer, 1, 0, 0), 180)
    assert np.asarray(dark).max() == 0
    assert np.asarray(red)[:, :, 0].max() == 255


@pytest.mark.slow
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
    assert len(corners(page)) == 5
    tile = WallView(foyer, (1200 - 3 * 24) // 2)
    for (y, x), colour in zip(corners(page), colours, strict=True):
        inside = pixels[y + 1 : y + 1 + tile.height, x + 1 : x + 1 + tile.width]
        assert (inside == tile.draw(lit(foyer, *colour))).all()
        below = pixels[y + tile.height + 3 : y + tile.height + 30, x : x + tile.width]
        assert below.min(axis=2).max() > 180, "a label, light on the dark page"


@pytest.mark.slow
def test_a_long_label_is_cut_to_its_tile(foyer):
    cells = lit(foyer, 0, 0, 0)
    short = np.asarray(contact_sheet(foyer, [("a", cells), ("b", cells)], columns=2))
    long = np.asarray(contact_sheet(foyer, [("a" * 500, cells), ("b", cells)], columns=2))
    assert short.shape == long.shape
    assert (short[:, 590:] == long[:, 590:]).all(), "the second tile is as it was"
    assert (short[:, :590] != long[:, :590]).any()


@pytest.mark.slow
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


@pytest.mark.parametrize("wrong", [np.nan, np.inf, -0.5])
def test_what_is_no_light_is_refused_and_its_place_told(foyer, wrong):
    cells = lit(foyer, 0, 0, 0)
    cells[3, 4, 1] = wrong
    with pytest.raises(PictureError, match=r"\(3, 4, 1\)[\s\S]*Fix"):
        still(foyer, cells, 180)


DEPTHS = (5.0, 10.0, 25.0)


def compared(display, cells, look, depths=DEPTHS, pixels_wide=960):
    covers = [(f"depth {mm:g} mm", with_cover(display, depth_mm=mm)) for mm in depths]
    page = side_by_side(covers, [cells], look, pixels_wide)
    pixels, starts = np.asarray(page), corners(page)
    wide = round((pixels == FRAME).all(axis=2)[starts[0][0]].sum() / (len(starts))) - 2
    high = round(wide * 20 / 36)
    return page, starts, [pixels[y + 1 : y + 1 + high, x + 1 : x + 1 + wide] for y, x in starts]


def test_covers_side_by_side_have_one_exposure(foyer):
    # The same front throws the same light back in each: one grey, by hand. Of 500 lx half is
    # thrown back, L = 500·0.5/π; white is the brightest cover's mean with that on top.
    _, _, tiles = compared(foyer, lit(foyer, 0, 0, 0), Look(ambient_lx=500))
    around = 500 * 0.5 / np.pi
    mean = max(figures(with_cover(foyer, depth_mm=mm)).mean_cdm2 for mm in DEPTHS)
    for tile in tiles:
        assert np.ptp(tile) == 0
        assert srgb_to_linear(tile[0, 0, 0] / 255) == pytest.approx(
            around / (mean + around), rel=0.02
        )


def test_a_cover_that_gives_more_light_looks_brighter_side_by_side(foyer):
    # So dim that no spot is above white: the pixels' light is then in proportion.
    cells = lit(foyer, 0.05, 0.05, 0.05)
    _, _, tiles = compared(foyer, cells, Look())
    shown = [float(srgb_to_linear(tile / 255).mean()) for tile in tiles]
    real = [
        float(WallView(with_cover(foyer, depth_mm=mm), 300).luminance(cells).mean())
        for mm in DEPTHS
    ]
    assert real[0] > 1.1 * real[2]
    assert [s / shown[0] for s in shown] == pytest.approx([r / real[0] for r in real], rel=0.02)


def test_a_white_that_is_asked_for_is_kept_side_by_side(foyer):
    cells = lit(foyer, 0.05, 0.05, 0.05)
    (_, _, bright), (_, _, dim) = (
        compared(foyer, cells, Look(white_cdm2=white)) for white in (200, 400)
    )
    bright_light, dim_light = (
        float(srgb_to_linear(tiles[2] / 255).mean()) for tiles in (bright, dim)
    )
    assert bright_light == pytest.approx(2 * dim_light, rel=0.02)


@pytest.mark.slow
def test_many_covers_on_a_narrow_page_go_in_rows_with_labels_that_differ(foyer):
    depths = (5, 8, 10, 12, 16, 20)
    covers = [
        (f"depth {mm} mm: min/mean 0.50, 500 cd/m2", with_cover(foyer, depth_mm=mm))
        for mm in depths
    ]
    page = side_by_side(covers, [lit(foyer, 0, 0, 0)], Look(), 320)
    starts = corners(page)
    assert page.width == 320
    assert len(starts) == 6
    assert len({y for y, _ in starts}) == 3, "two in a row"
    high = round((320 - 3 * 6) / 2 * 20 / 36)
    pixels = np.asarray(page)
    labels = [pixels[y + high + 4 : y + high + 21, x : x + 140].tobytes() for y, x in starts]
    assert len(set(labels)) == 6
