"""The layout of the window."""

from __future__ import annotations

from pathlib import Path

import pygame
import pytest

from emulator import load_display, parse_display
from emulator.window.layout import GAUGE_HIGHS, Layout, Place, first_size, gauge_rows, tallness

SIZES = [(520, 341), (1000, 607), (1640, 400), (300, 900), (60, 60), (1, 1)]


@pytest.mark.parametrize("size", SIZES)
def test_the_wall_lies_in_the_window_above_the_strip_in_its_proportions(display, size):
    layout = Layout.fit(display, size)
    if min(size) >= 100:
        assert pygame.Rect(0, 0, size[0], layout.strip.top).contains(layout.wall)
    # One pixel of rounding.
    assert abs(layout.wall.height - layout.wall.width * tallness(display)) <= 1
    assert min(layout.wall.size) >= 1


@pytest.mark.parametrize("size", SIZES[:4])
def test_cell_at_is_the_inverse_of_cell(display, size):
    layout = Layout.fit(display, size)
    cells = [(column, row) for column in range(8) for row in range(4)]
    assert [layout.cell_at(layout.cell(*cell).center) for cell in cells] == cells
    for cell in cells:
        inner = layout.cell(*cell).inflate(-2, -2)
        assert layout.cell_at(inner.topleft) == cell
        assert layout.cell_at((inner.right - 1, inner.bottom - 1)) == cell
    wall = layout.wall
    for beside in ((wall.left - 1, wall.top), (wall.right, wall.top), (wall.left, wall.bottom)):
        assert layout.cell_at(beside) is None


def test_cells_tile_the_wall(display):
    layout = Layout.fit(display, (777, 555))
    area = sum(
        layout.cell(column, row).width * layout.cell(column, row).height
        for column in range(8)
        for row in range(4)
    )
    assert area == layout.wall.width * layout.wall.height


def test_the_first_window_shows_the_wall_as_wide_as_asked(display):
    assert Layout.fit(display, first_size(display, 960)).wall.width == 960


def test_the_first_window_fits_the_desktop(display):
    wide, high = first_size(display, 5000, most=(1280, 600))
    assert wide <= 1280
    assert high <= 600
    assert Layout.fit(display, (wide, high)).place is not Place.NOWHERE


@pytest.mark.parametrize(
    ("size", "place"),
    [
        ((1212, 607), Place.BESIDE),
        ((700, 900), Place.BELOW),
        ((520, 341), Place.NOWHERE),
        ((60, 60), Place.NOWHERE),
    ],
)
def test_instruments_lie_where_there_is_room_and_never_over_the_wall(size, place):
    layout = Layout.fit(load_display("foyer"), size)
    assert layout.place is place
    assert not layout.instruments.colliderect(layout.wall) or place is Place.NOWHERE
    if place is Place.NOWHERE:
        assert layout.instruments.size == (0, 0)
        return
    parts = (layout.stage, layout.instruments, layout.strip)
    assert sum(part.width * part.height for part in parts) == size[0] * size[1]
    assert layout.stage.contains(layout.wall)


@pytest.mark.parametrize("size", SIZES)
def test_instruments_not_wanted_leave_all_the_room_to_the_wall(display, size):
    without = Layout.fit(display, size, instruments=False)
    assert without.place is Place.NOWHERE
    assert without.wall.width >= Layout.fit(display, size).wall.width


@pytest.mark.parametrize("size", [(1212, 607), (700, 900), (520, 341)])
def test_at_twice_the_density_everything_is_twice_as_large(size):
    foyer = load_display("foyer")
    once, twice = Layout.fit(foyer, size), Layout.fit(foyer, (2 * size[0], 2 * size[1]), 2.0)
    assert twice.place is once.place
    for name in ("stage", "wall", "strip", "instruments"):
        doubled = [2 * side for side in getattr(once, name)]
        assert list(getattr(twice, name)) == pytest.approx(doubled, abs=2), name
    assert twice.px(15) == 30


@pytest.mark.parametrize("pixels_wide", [480, 960, 1600])
@pytest.mark.parametrize("scale", [1.0, 2.0])
def test_the_first_window_has_room_for_wall_and_instruments(pixels_wide, scale):
    foyer = load_display("foyer")
    layout = Layout.fit(foyer, first_size(foyer, pixels_wide, scale=scale), scale)
    assert layout.wall.width == pixels_wide * scale
    assert layout.place is not Place.NOWHERE


def test_a_flat_wall_has_its_instruments_below():
    text = "[grid]\ncolumns=100\nrows=4\n[chip]\npart='WS2812B'\n[wiring]\n"
    flat = parse_display(text, Path("flat.toml"))
    layout = Layout.fit(flat, first_size(flat, 960))
    assert (layout.place, layout.wall.width) == (Place.BELOW, 960)


@pytest.mark.parametrize("columns", range(1, 9))
def test_rows_of_instruments_are_as_high_as_what_is_in_them(columns):
    rows = gauge_rows(columns)
    assert len(rows) == -(-len(GAUGE_HIGHS) // columns)
    for number, gauge_high in enumerate(GAUGE_HIGHS):
        assert rows[number // columns] > gauge_high
