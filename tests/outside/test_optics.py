"""Optics against closed forms, scipy's integrals and Gaussian filter, and Snellen's letter."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import integrate, ndimage, special

from emulator import parse_display
from emulator.light import cover, eye
from emulator.light.cover import Axis, Spot, illuminance_lx
from emulator.light.operator import Operator
from tests.light.whole import whole


@pytest.mark.parametrize("offset_mm", [0.0, 4.0, 15.0])
def test_a_finite_emitter_as_large_as_a_real_one_hardly_differs_from_a_point(offset_mm):
    # Square Lambertian emitter of 2 mm (the cavity of a 5050 package: common practice, no source)
    # 10 mm behind the front: E = ∫ L cos θ1 cos θ2 / d² dA (the inverse square law; radiometry).
    side, depth = 2.0, 10.0
    radiance = 1.0 / (side * side)  # of 1 cd straight ahead, per mm²

    def part(y: float, x: float) -> float:
        square = (offset_mm - x) ** 2 + y * y + depth**2
        return radiance * depth**2 / square**2

    lux_mm, _ = integrate.dblquad(part, -side / 2, side / 2, -side / 2, side / 2)
    assert illuminance_lx(offset_mm, depth) == pytest.approx(lux_mm * 1e6, rel=0.015)


def test_a_disc_s_illuminance_on_its_axis_has_a_closed_form():
    # On the axis of a Lambertian disc of radius R: E = π·L·R²/(R² + h²) (a textbook form factor).
    radius, depth = 1.5, 10.0
    radiance = 1.0 / (np.pi * radius**2)
    closed = np.pi * radiance * radius**2 / (radius**2 + depth**2) * 1e6
    rings, _ = integrate.quad(
        lambda r: 2 * np.pi * r * radiance * depth**2 / (r * r + depth**2) ** 2, 0, radius
    )
    assert rings * 1e6 == pytest.approx(closed)
    assert illuminance_lx(0.0, depth) == pytest.approx(closed, rel=0.03)


@pytest.mark.parametrize("half_angle_deg", [20.0, 45.0, 60.0])
def test_the_flux_of_a_beam_is_its_intensity_over_the_half_sphere(half_angle_deg):
    # Φ = 2π ∫ I0 cos^m θ sin θ dθ: all of it falls on an endless front.
    m = cover.beam_exponent(half_angle_deg)
    emitted, _ = integrate.quad(lambda t: 2 * np.pi * np.cos(t) ** m * np.sin(t), 0, np.pi / 2)
    landed, _ = integrate.quad(
        lambda r: 2 * np.pi * r * float(illuminance_lx(r * 1000, 20.0, 1.0, m)), 0, np.inf
    )
    assert landed == pytest.approx(emitted, rel=1e-6)
    assert np.cos(np.radians(half_angle_deg)) ** m == pytest.approx(0.5)


def test_the_error_function_is_scipy_s():
    x = np.linspace(-7, 7, 20_001)
    assert np.abs(cover.erf(x) - special.erf(x)).max() < 1.5e-7  # as its source states


def test_a_gaussian_spot_is_drawn_as_scipy_filters_the_wall():
    # One Gaussian, so that the operator is a plain convolution of points of light; one pixel a mm.
    sigma = 7.0
    spot = Spot(np.array([sigma]), np.array([1.0]), 0.0, 10.0, 1.0)
    axis = Axis(20.0, None)
    operator = Operator(spot, (axis, axis), (12, 9), (240, 180))
    cells = np.random.default_rng(7).random((9, 12, 3)).astype(np.float32)
    drawn = np.moveaxis(whole(operator, cells), -1, 0)
    # The middle of a cell lies between two pixels: spread its light over the four around it.
    points = np.zeros((3, 180, 240))
    for down in (9, 10):
        for right in (9, 10):
            points[:, down::20, right::20] += np.moveaxis(cells, -1, 0) / 4
    # Two half impulses a pixel apart widen a Gaussian's variance by ¼ each way.
    filtered = ndimage.gaussian_filter(
        points, (0, *[np.sqrt(sigma**2 - 0.25)] * 2), mode="constant", truncate=8
    )
    assert drawn == pytest.approx(filtered * 2 * np.pi * sigma**2, abs=2e-4)


def test_scatter_and_blur_are_those_of_scipy_s_filter_on_the_bare_spot():
    text = (
        "[grid]\ncolumns=1\nrows=1\npitch_mm=60\n[chip]\npart='WS2812B'\n[wiring]\n"
        "[cover]\ndepth_mm=9\nwalls='none'\nscatter_mm=2.5"
    )
    made = parse_display(text, Path("one.toml"))
    spot = Spot.before(replace(made, chip=replace(made.chip, emitter_mm=0.0)))
    at = np.arange(-60, 60.01, 0.25)
    bare = illuminance_lx(np.hypot(at[:, None], at), 9.0)
    wanted = ndimage.gaussian_filter(bare, 2.5 / 0.25, mode="nearest", truncate=8)
    profile = spot.profiles(at, Axis(60.0, None))
    found = (profile * spot.weight) @ profile.T
    inner = np.abs(at) < 30
    ours, theirs = found[inner][:, inner], wanted[inner][:, inner]
    assert ours == pytest.approx(theirs, abs=3e-4 * float(theirs.max()))


def test_snellen_s_letter():
    # Snellen chart: the 20/20 letter is 5 arcminutes high, 8.73 mm at 6 m (from memory: 8.75 mm
    # is often printed), and its strokes 1 arcminute.
    assert eye.letter_height_mm(6.0, 0.1) == pytest.approx(8.73, abs=0.01)
    # The 20/200 letter is ten times as high: read from 60 m by who sees 20/20.
    assert eye.reading_distance_m(87.27) == pytest.approx(60.0, rel=1e-3)
