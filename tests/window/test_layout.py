"""Where things are in the window."""

from __future__ import annotations

import pygame
import pytest

from emulator.window.layout import Layout, first_size, tallness

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
