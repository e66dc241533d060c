"""The drawn wall, against a direct sum over all LEDs in float64."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator import Display, parse_display
from emulator.light.wall import SIGMA_PER_DEPTH, WallView


def wall(columns: int, rows: int, depth_mm: float = 15, row_pitch_mm: float = 20) -> Display:
    return parse_display(
        f"[grid]\ncolumns = {columns}\nrows = {rows}\n"
        f"pitch_mm = 20\nrow_pitch_mm = {row_pitch_mm}\n"
        '[chip]\npart = "WS2812B-V5"\n[wiring]\nlines = 1\n'
        f"[cover]\ndepth_mm = {depth_mm}\n",
        Path("wall.toml"),
    )


def srgb_codes(light: np.ndarray) -> np.ndarray:
    """IEC 61966-2-1, written out here again."""
    light = np.clip(light, 0, 1)
    value = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.round(255 * value)


def direct(display: Display, cells: np.ndarray, width: int, height: int) -> np.ndarray:
    """Every LED's Gaussian at every pixel's middle, summed; just white where all are lit."""
    across_mm, down_mm = display.grid.pitches_mm
    # Derived here once more: cos⁴θ falls to 1/2 at tan²θ = √2 − 1 (E = I0·cos⁴θ/h²).
    sigma_mm = np.sqrt(np.sqrt(2) - 1) * display.cover.depth_mm / np.sqrt(2 * np.log(2))
    x_mm = (np.arange(width) + 0.5) / width * display.grid.columns * across_mm
    y_mm = (np.arange(height) + 0.5) / height * display.grid.rows * down_mm
    light = np.zeros((height, width, 3))
    for row in range(display.grid.rows):
        for column in range(display.grid.columns):
            square = (x_mm[None, :] - (column + 0.5) * across_mm) ** 2 + (
                y_mm[:, None] - (row + 0.5) * down_mm
            ) ** 2
            light += np.exp(-square / (2 * sigma_mm**2))[:, :, None] * cells[row, column]
    far = np.arange(-200, 201)
    for pitch in (across_mm, down_mm):
        light /= np.exp(-((far * pitch) ** 2) / (2 * sigma_mm**2)).sum()
    return srgb_codes(light)


@pytest.mark.parametrize("depth_mm", [3, 8, 15, 40, 200])
@pytest.mark.parametrize("row_pitch_mm", [20, 31.7])
def test_a_wall_is_within_one_code_value_of_the_direct_sum(depth_mm, row_pitch_mm):
    display = wall(9, 7, depth_mm, row_pitch_mm)
    view = WallView(display, 250)
    cells = np.random.default_rng(3).random((7, 9, 3)).astype(np.float32) ** 3
    drawn = view.draw(cells).astype(int)
    assert np.abs(drawn - direct(display, cells, view.width, view.height)).max() <= 1


def test_light_above_full_drive_is_cut_off():
    display = wall(5, 5)
    view = WallView(display, 200)
    cells = np.random.default_rng(4).random((5, 5, 3)).astype(np.float32) * 2  # RGBW: W adds
    drawn = view.draw(cells).astype(int)
    assert np.abs(drawn - direct(display, cells, 200, 200)).max() <= 1
    assert drawn.max() == 255


def test_black_is_black_and_a_wall_lit_all_over_just_white():
    view = WallView(wall(31, 31, 25), 31 * 9)
    assert view.draw(np.zeros((31, 31, 3), np.float32)).max() == 0
    middle = view.draw(np.ones((31, 31, 3), np.float32))[15 * 9 + 4, 15 * 9 + 4]
    assert middle.tolist() == [255, 255, 255]


def test_the_tone_curve_is_within_one_code_value_at_every_level():
    # One cell, far wider than its cover's spot: the middle shows the light of the LED itself.
    display = wall(1, 1, depth_mm=1)
    view = WallView(display, 201)
    levels = np.concatenate([np.arange(256) / 255, np.linspace(0, 0.02, 400)])
    spot = [view.draw(np.full((1, 1, 3), v, np.float32))[100, 100, 0] for v in levels]
    assert np.abs(np.array(spot, int) - srgb_codes(levels)).max() <= 1
    assert spot[0] == 0
    assert spot[255] == 255


def test_the_half_width_is_that_of_a_lambertian_spot_behind_a_cover():
    # E = I0·cos⁴θ/h²: at r = h·tan θ, cos⁴θ = 1/(1 + r²/h²)². Solved by bisection, not algebra.
    low, high = 0.0, 2.0
    for _ in range(60):
        r = (low + high) / 2
        low, high = (r, high) if 1 / (1 + r * r) ** 2 > 0.5 else (low, r)
    assert np.exp(-((r / SIGMA_PER_DEPTH) ** 2) / 2) == pytest.approx(0.5, abs=1e-12)
    assert r == pytest.approx(0.6436, abs=1e-4)


@pytest.mark.parametrize("flip", [np.fliplr, np.flipud], ids=["left-right", "top-bottom"])
def test_a_mirrored_wall_is_drawn_mirrored(flip):
    view = WallView(wall(10, 6), 333)
    cells = np.random.default_rng(5).random((6, 10, 3)).astype(np.float32)
    plain = view.draw(cells).astype(int).copy()
    mirrored = view.draw(np.ascontiguousarray(flip(cells))).astype(int)
    # One code value where a sum in another order rounds the other way.
    assert np.abs(mirrored - flip(plain)).max() <= 1


def test_a_view_draws_onto_any_memory_it_is_given():
    view = WallView(wall(6, 5), 230)
    cells = np.random.default_rng(6).random((5, 6, 3)).astype(np.float32)
    plain = view.draw(cells).copy()
    memory = np.full((view.width, view.height, 4), 7, np.uint8)  # as a screen has it: x, y, BGRX
    onto = memory[:, :, 2::-1].swapaxes(0, 1)
    assert view.draw(cells, onto=onto) is onto
    assert (onto == plain).all()
    assert (memory[:, :, 3] == 7).all()


@given(
    st.integers(1, 12), st.integers(1, 12), st.integers(1, 150), st.sampled_from([7.0, 20.0, 55.0])
)
def test_cell_at_finds_the_cell_of_each_led_and_nothing_beside_the_wall(
    columns, rows, pixels_wide, row_pitch_mm
):
    view = WallView(wall(columns, rows, row_pitch_mm=row_pitch_mm), pixels_wide)
    assert view.width >= columns
    assert view.height >= rows
    for column in range(columns):
        for row in range(rows):
            x = int((column + 0.5) * view.width / columns)
            y = int((row + 0.5) * view.height / rows)
            assert view.cell_at(x, y) == (column, row)
    for x, y in ((-1, 0), (0, -1), (view.width, 0), (0, view.height)):
        assert view.cell_at(x, y) is None


def test_the_picture_keeps_the_wall_s_proportions():
    assert WallView(wall(30, 10, row_pitch_mm=40), 600).height == 400
