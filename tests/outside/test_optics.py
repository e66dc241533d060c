"""Optics against view factors, closed forms, scipy's integrals and filter, and Snellen's letter."""

from __future__ import annotations

import itertools
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import integrate, ndimage, special

from emulator import Display, parse_display
from emulator.light import cover as cover_of_light
from emulator.light import eye
from emulator.light.cover import Axis, Spot, axes, illuminance_lx
from emulator.light.figures import figures
from emulator.light.front import off_centre, over_opening
from emulator.light.operator import Operator
from tests.light.whole import whole


def cells(cover: str, emitter_mm: float, pitch_mm: float = 1000 / 30) -> Display:
    """A wall of cells with sources of that size; Lambertian, as the catalogue has them."""
    made = parse_display(
        f"[grid]\ncolumns=9\nrows=9\npitch_mm={pitch_mm}\n[chip]\npart='WS2812B'\n[wiring]\n"
        f"[cover]\n{cover}\n",
        Path("wall.toml"),
    )
    assert cover_of_light.beam_exponent(made.chip.half_angle_deg) == pytest.approx(1)
    return replace(made, chip=replace(made.chip, emitter_mm=emitter_mm))


def lone_led_lux(display: Display, x_mm: float, y_mm: float) -> float:
    """Illuminance on the front of a lone LED of one candela, off its middle."""
    spot, (across, down) = Spot.before(display), axes(display)
    light = spot.profiles(x_mm, across) * spot.profiles(y_mm, down)
    return float(light @ spot.weight)


def element_to_corner(a: float, b: float, c: float) -> float:
    """View factor of a small plane element to a parallel rectangle a × b at a distance c.

    The normal of the element meets a corner of it (Howell, A Catalog of Radiation Heat Transfer
    Configuration Factors, B-3, from memory). Odd in a and in b, so that corners add up.
    """
    x, y = a / c, b / c
    p, q = np.sqrt(1 + x * x), np.sqrt(1 + y * y)
    return float((x / p * np.arctan(y / p) + y / q * np.arctan(x / q)) / (2 * np.pi))


def element_to_rectangle(left: float, right: float, up: float, down: float, c: float) -> float:
    """The same to a rectangle anywhere: its sides, from the foot of the element's normal."""
    return (
        element_to_corner(right, down, c)
        - element_to_corner(left, down, c)
        - element_to_corner(right, up, c)
        + element_to_corner(left, up, c)
    )


def rectangle_to_rectangle(one: tuple[float, ...], other: tuple[float, ...], c: float) -> float:
    """View factor of one rectangle (left, right, up, down) to another in a parallel plane.

    Howell, C-13 (from memory): a sum over the corners of both.
    """

    def term(u: float, v: float) -> float:
        p, q = np.sqrt(u * u + c * c), np.sqrt(v * v + c * c)
        ends = v * p * np.arctan(v / p) + u * q * np.arctan(u / q)
        return float(ends - c * c / 2 * np.log(u * u + v * v + c * c)) / (2 * np.pi)

    total = sum(
        (-1) ** (i + j + k + n) * term(one[i] - other[j], one[2 + k] - other[2 + n])
        for i, j, k, n in itertools.product((0, 1), repeat=4)
    )
    return total / ((one[1] - one[0]) * (one[3] - one[2]))


def square(side: float, down: float = 0.0) -> tuple[float, ...]:
    return -side / 2, side / 2, down - side / 2, down + side / 2


def test_the_view_factors_are_those_of_the_tables():
    # Equal parallel squares, directly opposite, of side 1, 2 and 5 at a distance of 1: tables in
    # textbooks of heat transfer (Incropera and others, from memory) have 0.1998, 0.4153, 0.6902.
    for side, factor in ((1.0, 0.1998), (2.0, 0.4153), (5.0, 0.6902)):
        assert rectangle_to_rectangle(square(side), square(side), 1.0) == pytest.approx(
            factor, abs=1.5e-4
        )
    # A tiny square is a small plane element; it sees half of the half space at a huge wall.
    tiny = rectangle_to_rectangle(square(1e-2), square(3.0), 1.0)
    assert tiny == pytest.approx(element_to_rectangle(-1.5, 1.5, -1.5, 1.5, 1.0), rel=1e-4)
    assert element_to_rectangle(-1e6, 1e6, -1e6, 1e6, 1.0) == pytest.approx(1)


@pytest.mark.parametrize(("depth_mm", "lux"), [(10, 9233.5), (20, 2449.0), (30, 1100.9)])
def test_a_square_source_lights_the_point_before_it_less_than_a_point_does(depth_mm, lux):
    # E = π·L·F of the point to the source, L = 1 cd over its area (reciprocity). A point of 1 cd
    # gives 10,000, 2500 and 1111 lx.
    radiance = 1.0 / 0.005**2
    closed = np.pi * radiance * element_to_rectangle(-2.5, 2.5, -2.5, 2.5, depth_mm)
    assert closed == pytest.approx(lux, abs=0.1)
    made = cells(f"walls='none'\nscatter_mm=0\ndepth_mm={depth_mm}", 5.0)
    assert lone_led_lux(made, 0, 0) == pytest.approx(closed, rel=3e-4)


@pytest.mark.parametrize("emitter_mm", [0.5, 2.0, 5.0, 12.0, 30.0])
@pytest.mark.parametrize("depth_mm", [4.0, 10.0, 49.0])
def test_a_square_source_lights_every_point_as_its_view_factor_says(emitter_mm, depth_mm):
    half = emitter_mm / 2
    radiance = 1.0 / (emitter_mm / 1000) ** 2
    made = cells(f"walls='none'\nscatter_mm=0\ndepth_mm={depth_mm}", emitter_mm)
    for x, y in ((0.0, 0.0), (half, 0.0), (half, half), (7.0, 0.0), (14.5, 14.5), (60.0, 20.0)):
        seen = element_to_rectangle(x - half, x + half, y - half, y + half, depth_mm)
        found = lone_led_lux(made, x, y)
        assert found == pytest.approx(np.pi * radiance * seen, rel=5e-4)


@pytest.mark.parametrize("emitter_mm", [1.0, 3.5, 8.0])
@pytest.mark.parametrize("opening_mm", [25.0, 29.0, 33.3])
@pytest.mark.parametrize(("depth_mm", "off_mm"), [(49.0, 0.0), (49.0, 3.0), (12.0, 6.0)])
def test_the_light_that_reaches_an_opening_is_the_view_factor_of_source_and_opening(
    emitter_mm, opening_mm, depth_mm, off_mm
):
    # A Lambertian source of 1 cd straight ahead gives π lm in all; F of them pass the opening.
    walls = f"depth_mm={depth_mm}\nopening_mm={opening_mm}\noff_centre_mm={off_mm}"
    passed = np.pi * rectangle_to_rectangle(
        square(emitter_mm, off_mm), square(opening_mm), depth_mm
    )
    front = over_opening(cells(walls, emitter_mm))
    assert front.mean * (opening_mm / 1000) ** 2 == pytest.approx(passed, rel=5e-4)


UNIFORMITY = {25.0: 0.851, 29.0: 0.808, 32.0: 0.775, 33.0: 0.764, 1000 / 30: 0.761}


@pytest.mark.parametrize("opening_mm", UNIFORMITY)
def test_uniformity_is_least_over_mean_of_the_light_on_the_opening(opening_mm):
    # EN 12464-1:2021 (from memory): U0 is the least illuminance over the mean, Ud over the most.
    # A point source and black walls: cos⁴ at the corner, and the mean by the view factor.
    depth_mm, half = 49.0, opening_mm / 2
    corner = (1 + 2 * (half / depth_mm) ** 2) ** -2
    mean = np.pi * element_to_rectangle(-half, half, -half, half, depth_mm) * depth_mm**2
    mean /= opening_mm**2
    by_scipy, _ = integrate.dblquad(
        lambda x, y: (1 + (x * x + y * y) / depth_mm**2) ** -2, 0, half, 0, half
    )
    assert mean == pytest.approx(by_scipy / half**2)
    assert corner / mean == pytest.approx(UNIFORMITY[opening_mm], abs=6e-4)
    made = cells(f"depth_mm={depth_mm}\nopening_mm={opening_mm}", 0.0)
    found = figures(made, 3.0)
    assert found.min_to_mean == pytest.approx(corner / mean, rel=5e-4)
    assert found.min_to_max == pytest.approx(corner, rel=5e-4)


@pytest.mark.parametrize("off_mm", [1.0, 2.0, 3.0, 8.0])
def test_a_strip_off_centre_has_its_least_light_in_the_corner_across(off_mm):
    depth_mm, half = 30.0, 14.5
    made = cells(f"depth_mm={depth_mm}\nopening_mm={2 * half}", 0.0)
    corner = (1 + (half**2 + (half + off_mm) ** 2) / depth_mm**2) ** -2
    factor = element_to_rectangle(-half, half, -half - off_mm, half - off_mm, depth_mm)
    mean = np.pi * factor * depth_mm**2 / (2 * half) ** 2
    found = off_centre(made, off_mm)
    assert found.min_to_mean == pytest.approx(corner / mean, rel=5e-4)
    assert found.spot_mm == pytest.approx(off_mm, abs=0.02)


@pytest.mark.parametrize("half_angle_deg", [20.0, 45.0, 60.0])
def test_the_flux_of_a_beam_is_its_intensity_over_the_half_sphere(half_angle_deg):
    # Φ = 2π ∫ I0 cos^m θ sin θ dθ: all of it falls on an endless front.
    m = cover_of_light.beam_exponent(half_angle_deg)
    emitted, _ = integrate.quad(lambda t: 2 * np.pi * np.cos(t) ** m * np.sin(t), 0, np.pi / 2)
    landed, _ = integrate.quad(
        lambda r: 2 * np.pi * r * float(illuminance_lx(r * 1000, 20.0, 1.0, m)), 0, np.inf
    )
    assert landed == pytest.approx(emitted, rel=1e-6)
    assert np.cos(np.radians(half_angle_deg)) ** m == pytest.approx(0.5)


def test_the_error_function_is_scipy_s():
    x = np.linspace(-7, 7, 20_001)
    assert np.abs(cover_of_light.erf(x) - special.erf(x)).max() < 1.5e-7  # as its source states


@pytest.mark.slow
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
