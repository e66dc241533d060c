"""Figures of a cover, against sums of the closed form and against limits."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from emulator import Display, parse_display
from emulator.light.cover import illuminance_lx
from emulator.light.figures import by_depth, even_depth_mm, figures, knee
from emulator.light.front import with_cover


def pointlike(made: Display) -> Display:
    """The display with point sources, whose light has a closed form."""
    return replace(made, chip=replace(made.chip, emitter_mm=0.0))


def display(cover: str) -> Display:
    return pointlike(
        parse_display(
            "[grid]\ncolumns = 8\nrows = 6\npitch_mm = 20\n[chip]\npart = 'WS2812B'\n[wiring]\n"
            f"[cover]\n{cover}\n",
            Path("wall.toml"),
        )
    )


BARE = "walls = 'none'\nscatter_mm = 0\n"
NEAR_M = 0.05  # so near that the eye's blur is 6 µm


def lattice(x: np.ndarray, y: np.ndarray, depth_mm: float, reach: int = 70) -> np.ndarray:
    """Brute force: the closed form of every LED for `reach` cells around, (y, x), per candela."""
    at = 20.0 * np.arange(-reach, reach + 1)
    u, v = (x[:, None] - at) ** 2, (y[:, None] - at) ** 2
    return np.array(
        [[illuminance_lx(np.sqrt(a[:, None] + b), depth_mm).sum() for a in u] for b in v]
    )


@pytest.mark.parametrize("depth_mm", [4.0, 10.0, 30.0])
def test_uniformity_without_walls_is_that_of_the_lattice_summed_by_brute_force(depth_mm):
    found = figures(display(BARE + f"depth_mm = {depth_mm}"), NEAR_M, 0)
    # Middles of 24 × 24 parts of a cell: the mean of a periodic function converges fast.
    at = 20 * ((np.arange(24) + 0.5) / 24 - 0.5)
    mean = lattice(at, at, depth_mm).mean()
    corner, middle = lattice(np.array([10.0, 0.0]), np.array([10.0, 0.0]), depth_mm).diagonal()
    assert found.min_to_mean == pytest.approx(corner / mean, rel=0.01)
    assert found.min_to_max == pytest.approx(corner / middle, rel=0.01)
    # WS2812B datasheet: 405 + 690 + 190 mcd; half passes; L = E/π.
    assert found.mean_cdm2 == pytest.approx(1.285 * 0.5 / np.pi * mean, rel=0.01)
    assert found.peak_cdm2 == pytest.approx(1.285 * 0.5 / np.pi * middle, rel=0.01)


def test_a_wall_far_behind_its_front_is_lit_by_all_the_flux_evenly():
    # π lm a candela over (20 mm)², half of it through: L = 1.285·0.5/(0.02²) cd/m².
    found = figures(display(BARE + "depth_mm = 80"), NEAR_M, 0)
    assert found.min_to_max == pytest.approx(1, abs=1e-3)
    assert found.mean_cdm2 == pytest.approx(1.285 * 0.5 / 0.02**2, rel=2e-3)


def test_crosstalk_is_the_neighbour_s_mean_light_over_the_lit_cell_s():
    depth_mm = 12.0
    at = 20 * ((np.arange(60) + 0.5) / 60 - 0.5)
    own = illuminance_lx(np.hypot(at[:, None], at), depth_mm).mean()
    beside = illuminance_lx(np.hypot(at[:, None] + 20, at), depth_mm).mean()
    found = figures(display(BARE + f"depth_mm = {depth_mm}"), NEAR_M, 0)
    assert found.crosstalk == pytest.approx(beside / own, rel=2e-3)
    black = figures(display("walls = 'black'\nscatter_mm = 0.01"), NEAR_M, 0)
    assert black.crosstalk < 1e-3


def test_crosstalk_is_that_of_the_nearer_neighbour():
    made = pointlike(
        parse_display(
            "[grid]\ncolumns = 8\nrows = 6\npitch_mm = 40\nrow_pitch_mm = 20\n"
            f"[chip]\npart = 'WS2812B'\n[wiring]\n[cover]\n{BARE}depth_mm = 12\n",
            Path("wall.toml"),
        )
    )
    x, y = (side * ((np.arange(60) + 0.5) / 60 - 0.5) for side in (40, 20))
    own = illuminance_lx(np.hypot(y[:, None], x), 12.0).mean()
    below = illuminance_lx(np.hypot(y[:, None] + 20, x), 12.0).mean()
    beside = illuminance_lx(np.hypot(y[:, None], x + 40), 12.0).mean()
    assert below > 3 * beside
    assert figures(made, NEAR_M, 0).crosstalk == pytest.approx(below / own, rel=2e-3)


def test_the_light_around_comes_back_from_the_front():
    # A Lambertian face, by hand: 300 lx, of which half is thrown back, 300·0.5/π cd/m².
    dark, room = (figures(display("depth_mm = 20"), 3, lux) for lux in (0, 300))
    assert (dark.ambient_cdm2, room.ambient_cdm2) == (0, pytest.approx(300 * 0.5 / np.pi))
    assert dark.mean_cdm2 == room.mean_cdm2


@pytest.mark.parametrize("cover", ["depth_mm = 4", "depth_mm = 30\nopening_mm = 17"])
def test_further_away_the_eye_sees_a_more_even_cell_and_the_front_stays_as_it_is(cover):
    # A blur keeps the mean and lifts the least: it is a weighted mean of what lies around.
    made = display(cover)
    found = [figures(made, m, 0) for m in (1, 5, 20, 60, 300)]
    seen = [f.seen_min_to_mean for f in found]
    assert seen == sorted(seen)
    assert seen[0] < 0.2
    assert seen[-1] > 0.9
    assert len({(f.min_to_mean, f.min_to_max) for f in found}) == 1


def test_deeper_is_more_even_and_the_depth_asked_for_gives_it():
    made = display(BARE)
    depths = np.linspace(3, 40, 12)
    uniform, leak = by_depth(made, depths)
    assert (np.diff(uniform) > 0).all()
    assert (np.diff(leak) > 0).all()
    enough = even_depth_mm(made)
    assert enough is not None
    assert figures(with_cover(made, depth_mm=enough)).min_to_mean == pytest.approx(0.8, abs=0.01)
    assert even_depth_mm(display("depth_mm = 10"), even=0.9999) is None


def test_the_knee_is_where_a_bent_line_bends():
    x = np.linspace(0, 10, 101)
    assert x[knee(x, np.minimum(x, 3.0) + 0.01 * x)] == pytest.approx(3.0)
    assert knee(x, -x) is None


def test_a_curve_that_is_flat_has_no_knee():
    x = np.linspace(0, 10, 101)
    noise = np.random.default_rng(5).normal(0, 5e-5, len(x))
    assert knee(x, 0.97 + noise) is None
    assert knee(x, 0.9 + 0.009 * np.sqrt(x / 10)) is None
    assert knee(x, 0.9 + 0.02 * np.sqrt(x / 10)) == 25, "√x is furthest above its chord at 1/4"


def test_arguments_left_out_come_from_the_view_of_the_file():
    text = "depth_mm = 20\n[view]\ndistance_m = 7\nambient_lx = 40"
    found = figures(display(text))
    assert (found.distance_m, found.ambient_lx) == (7, 40)
    assert found.letter_cells == 5
