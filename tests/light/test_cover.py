"""The light of one LED behind a cover: its sum of Gaussians against closed forms and limits."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator import Display, parse_display
from emulator.light.cover import Axis, Spot, axes, beam_exponent, illuminance_lx


def display(
    depth_mm: float, half_angle_deg: float = 60.0, cover: str = "", emitter_mm: float = 0.0
) -> Display:
    made = parse_display(
        "[grid]\ncolumns = 3\nrows = 3\npitch_mm = 20\nrow_pitch_mm = 25\n"
        f"[chip]\npart = 'WS2812B'\n[wiring]\n[cover]\ndepth_mm = {depth_mm}\n{cover}\n",
        Path("wall.toml"),
    )
    return replace(
        made, chip=replace(made.chip, half_angle_deg=half_angle_deg, emitter_mm=emitter_mm)
    )


def light(spot: Spot, x: np.ndarray, y: np.ndarray, axis: tuple[Axis, Axis]) -> np.ndarray:
    return (spot.profiles(x, axis[0]) * spot.profiles(y, axis[1])) @ spot.weight


def test_a_lambertian_emitter_follows_cos_to_the_fourth():
    # E = I0·cos⁴θ/h² for a small Lambertian source. Worked by hand: 1 cd at 10 mm is 10,000 lx
    # straight ahead, and a quarter of it where tan θ = 1.
    assert illuminance_lx([0, 10], 10.0) == pytest.approx([10_000, 2_500])
    assert beam_exponent(60) == pytest.approx(1.0)
    # cos θ = 1/√2 at 45°, whose square is one half.
    assert beam_exponent(45) == pytest.approx(2.0)


@given(st.floats(1, 300), st.floats(15, 75), st.floats(0, 60), st.floats(0, 2 * np.pi))
def test_the_sum_of_gaussians_is_the_closed_form_without_walls(depth_mm, half_angle, tan, turn):
    made = display(depth_mm, half_angle, "walls = 'none'\nscatter_mm = 0")
    x, y = tan * depth_mm * np.cos(turn), tan * depth_mm * np.sin(turn)
    exact = illuminance_lx(tan * depth_mm, depth_mm, 1.0, beam_exponent(half_angle))
    found = light(Spot.before(made), np.array(x), np.array(y), axes(made))
    assert found == pytest.approx(exact, rel=3e-4)


@pytest.mark.parametrize("walls", ["black", "white"])
def test_walls_cut_the_light_at_the_opening_and_white_ones_add_to_it(walls):
    made = display(30, cover=f"walls = '{walls}'\nopening_mm = 16\nscatter_mm = 0")
    spot = Spot.before(made)
    at = np.array([0.0, 3.0, 7.9, 8.1, 15.0])
    found = light(spot, at, 0 * at, axes(made))
    bare = illuminance_lx(at, 30.0)
    assert found[3:].tolist() == [0, 0]
    if walls == "black":
        assert found[:3] == pytest.approx(bare[:3], rel=3e-4)
    else:
        assert (found[:3] > 2 * bare[:3]).all()


@pytest.mark.parametrize("half_angle", [60, 35])
def test_no_light_is_lost_or_made_without_walls(half_angle):
    # Conservation: all the flux of I0·cos^m θ, 2π·I0/(m + 1), meets an endless front, blurred or
    # not. Each Gaussian integrates to √(2π)·σ on its own axis.
    made = display(10, half_angle, "walls = 'none'")
    for blur_mm in (0.0, 6.0):
        spot = Spot.before(made, blur_mm)
        x = np.linspace(-30_000, 30_000, 100_001)
        # Far light is cut short by the 64 depths that weights are made for: 1 − 64⁻².
        each = np.trapezoid(spot.profiles(x, axes(made)[0]), x / 1000, axis=0)
        flux = (spot.weight * each**2).sum()
        assert flux == pytest.approx(2 * np.pi / (beam_exponent(half_angle) + 1), rel=1e-3)


def test_perfect_mirrors_bring_all_flux_to_the_front():
    # Unfolded, the images' light on one opening is the LED's on the endless front: π lm a cd.
    axis = Axis(20.0, 20.0, 1.0)
    spot = Spot.before(display(10, cover="walls = 'white'\nscatter_mm = 0"))
    x = (np.arange(400) + 0.5) / 400 * 20 - 10
    mean = spot.profiles(x, axis).mean(axis=0)
    flux = (spot.weight * mean**2).sum() * 0.02**2
    # Images past those that matter, and rays far out, are left out.
    assert flux == pytest.approx(np.pi, rel=0.03)


@pytest.mark.slow
@pytest.mark.parametrize("walls", ["none", "black", "white"])
def test_blur_spreads_light_as_a_convolution_does(walls):
    made = display(8, cover=f"walls = '{walls}'\nscatter_mm = 0")
    axis = axes(made)[0]
    sharp, soft = Spot.before(made), Spot.before(made, 1.7)
    x = np.arange(-60, 60, 0.01)
    kernel = np.exp(-0.5 * (np.arange(-10, 10.001, 0.01) / 1.7) ** 2)
    kernel /= kernel.sum()
    for k in (0, 4, 8):
        convolved = np.convolve(sharp.profiles(x, axis)[:, k], kernel, mode="same")
        inner = np.abs(x) < 25
        # The sum's step of 0.01 mm moves a wall's edge by up to half of that.
        near = 5e-3 * convolved.max()
        assert np.abs(soft.profiles(x, axis)[inner, k] - convolved[inner]).max() <= near


def test_the_openings_are_the_pitch_unless_given_and_never_more():
    across, down = axes(display(10))
    assert (across.opening_mm, down.opening_mm) == (20, 25)
    across, down = axes(display(10, cover="opening_mm = 18"))
    assert (across.opening_mm, down.opening_mm) == (18, 18)
    assert across.reflectance == 0
    assert axes(display(10, cover="walls = 'white'\nwall_reflectance = 0.7"))[0].reflectance == 0.7
