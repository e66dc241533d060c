"""The light on the front over one cell: against independent sums, limits, and physics.

Closed forms are in tests/outside/test_optics.py.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from emulator import Display, parse_display
from emulator.light.cover import beam_exponent
from emulator.light.figures import figures
from emulator.light.front import (
    KEPT,
    crosstalk,
    off_centre,
    over_opening,
    tolerance_mm,
    widest_off_mm,
    with_cover,
)
from emulator.light.wall import WallView

PITCH_MM = 20.0
BASE = parse_display(
    f"[grid]\ncolumns=4\nrows=4\npitch_mm={PITCH_MM}\n[chip]\npart='WS2812B'\n[wiring]\n",
    Path("wall.toml"),
)


@dataclass(frozen=True)
class Built:
    """A cover and the LEDs behind it; lengths in mm, the half angle in degrees."""

    walls: str
    depth: float
    opening: float
    reflectance: float
    scatter: float
    emitter: float
    half_angle: float
    off: float

    @property
    def room(self) -> float:
        """The side of what shines."""
        return PITCH_MM if self.walls == "none" else self.opening

    def display(self) -> Display:
        covered = with_cover(
            BASE,
            walls=self.walls,
            depth_mm=self.depth,
            opening_mm=self.opening,
            wall_reflectance=self.reflectance,
            scatter_mm=self.scatter,
            off_centre_mm=self.off,
        )
        chip = replace(covered.chip, emitter_mm=self.emitter, half_angle_deg=self.half_angle)
        return replace(covered, chip=chip)


@st.composite
def built(draw: st.DrawFn) -> Built:
    """Any cover that holds all of the LED in its opening."""
    opening = draw(st.floats(4, PITCH_MM))
    emitter = draw(st.one_of(st.just(0.0), st.floats(0.1, 0.8))) * opening
    return Built(
        walls=draw(st.sampled_from(["none", "black", "white"])),
        depth=draw(st.floats(1, 90)),
        opening=opening,
        reflectance=draw(st.floats(0.05, 0.95)),
        scatter=draw(st.floats(0, 4)),
        emitter=emitter,
        half_angle=draw(st.floats(20, 75)),
        off=draw(st.one_of(st.just(0.0), st.floats(-1, 1))) * (opening - emitter) / 2 * 0.95,
    )


def evenness(cover: Built) -> np.ndarray:
    """(min/mean, min/max)."""
    front = over_opening(cover.display())
    return np.array([front.min_to_mean, front.min_to_max])


@given(built())
def test_least_is_below_the_mean_and_the_mean_below_the_most(cover):
    front = over_opening(cover.display())
    flat = 1e-9 * front.most  # where all are alike, roundings differ
    assert 0 < front.least <= front.mean + flat
    assert front.mean <= front.most + flat
    room = cover.room / 2 + (abs(cover.off) if cover.walls == "none" else 0)
    assert max(map(abs, front.spot_mm)) <= room + 1e-9


# What is changed by a factor above 1, and for which walls it makes the cell more even.
ORDERED = {
    "deeper": (lambda c, r: replace(c, depth=c.depth * r), ("none", "black", "white")),
    "a wider beam": (
        lambda c, r: replace(c, half_angle=min(c.half_angle * r, 80.0)),
        ("none", "black", "white"),
    ),
    "a smaller opening": (
        lambda c, r: replace(
            c, opening=c.opening / r, emitter=min(c.emitter, c.opening / r - 2 * abs(c.off))
        ),
        ("black", "white"),
    ),
    "whiter walls": (
        lambda c, r: replace(c, reflectance=min(c.reflectance * r, 0.98)), ("white",)
    ),
    "white walls": (lambda c, r: replace(c, walls="white"), ("black",)),
    "more scatter": (
        lambda c, r: replace(c, scatter=c.scatter * r + 0.1), ("none", "black", "white")
    ),
    "a larger source": (
        lambda c, r: replace(c, emitter=min(c.emitter * r + 0.1, c.room - 2 * abs(c.off))),
        ("none", "black", "white"),
    ),
    "nearer the middle": (lambda c, r: replace(c, off=c.off / r), ("none", "black", "white")),
}  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("change", ORDERED)
@given(built(), st.floats(1.01, 1.8))
def test_what_makes_a_cell_more_even_never_makes_it_less_even(change, cover, factor):
    apply, walls = ORDERED[change]
    assume(cover.walls in walls)
    better = apply(cover, factor)
    # A smaller opening holds a smaller part of the LED: only whole ones are compared.
    assume(change != "a smaller opening" or better.emitter == cover.emitter)
    assert (evenness(better) >= evenness(cover) - 1e-3).all()


@pytest.mark.slow
@settings(max_examples=12)
@given(st.data())
def test_figures_are_sound_however_odd_the_cover(data):
    # All that a display file may say.
    def span(low: float, high: float) -> float:
        return float(np.exp(data.draw(st.floats(np.log(low), np.log(high)))))

    pitches = span(0.5, 2000), span(0.5, 2000)
    opening = min(pitches) * data.draw(st.floats(0.02, 1))
    display = parse_display(
        f"[grid]\ncolumns=4\nrows=3\npitch_mm={pitches[0]}\nrow_pitch_mm={pitches[1]}\n"
        f"[chip]\npart='WS2812B'\nemitter_mm={data.draw(st.sampled_from([0.0, span(0.01, 100)]))}\n"
        f"half_angle_deg={data.draw(st.floats(5, 85))}\n[wiring]\n"
        f"[cover]\nwalls='{data.draw(st.sampled_from(['none', 'black', 'white']))}'\n"
        f"depth_mm={span(0.001, 1000)}\nopening_mm={opening}\n"
        f"scatter_mm={data.draw(st.sampled_from([0.0, span(0.001, 100)]))}\n"
        f"off_centre_mm={data.draw(st.floats(-0.49, 0.49)) * opening}\n",
        Path("odd.toml"),
    )
    found = figures(display)
    assert 0 < found.mean_cdm2 <= found.peak_cdm2 * (1 + 1e-9) < np.inf
    assert 0 <= found.min_to_max <= found.min_to_mean + 1e-9 <= 1 + 2e-9
    assert 0 <= found.seen_min_to_mean <= 1 + 1e-9
    assert 0 <= found.crosstalk < np.inf
    assert WallView(display, 40).peak_cdm2 > 0


def test_a_beam_that_sends_nothing_far_has_no_far_field():
    display = parse_display(
        "[grid]\ncolumns=4\nrows=3\npitch_mm=1\nrow_pitch_mm=7\n"
        "[chip]\npart='WS2812B'\nemitter_mm=0\nhalf_angle_deg=5\n[wiring]\n"
        "[cover]\nwalls='none'\ndepth_mm=1\nopening_mm=1\n",
        Path("odd.toml"),
    )
    assert WallView(display, 40).peak_cdm2 > 0


def brute(cover: Built, points: int = 121) -> tuple[float, float]:
    """(min/mean, min/max) between walls: a sum over points of the source and mirror images.

    Simpson's rule on the front, from edge to edge; the middles of 14 × 14 parts of the source.
    """
    power = (beam_exponent(cover.half_angle) + 3) / 2
    side = np.linspace(-cover.opening / 2, cover.opening / 2, points)
    parts = cover.emitter * ((np.arange(14) + 0.5) / 14 - 0.5) if cover.emitter else np.zeros(1)
    images = range(-10, 11) if cover.walls == "white" else range(1)
    light = np.zeros((points, points))
    for i in images:
        across = side[:, None] - i * cover.opening - (-1) ** i * parts
        for j in images:
            down = side[:, None] - j * cover.opening - (-1) ** j * (parts + cover.off)
            square = (across**2).ravel() + (down**2).ravel()[:, None]
            lux = (1 + square / cover.depth**2) ** -power
            share = cover.reflectance ** (abs(i) + abs(j))
            light += share * lux.reshape(points, len(parts), points, len(parts)).mean(axis=(1, 3))
    weight = np.ones(points)
    weight[1:-1:2], weight[2:-1:2] = 4, 2
    weight /= weight.sum()
    return light.min() / (weight @ light @ weight), light.min() / light.max()


BRUTE = [
    Built("black", 49, 29 * 20 / 33.3, 0, 1.0, 0.0, 60, 0),
    Built("black", 12, 17, 0, 1.0, 3.5, 60, 0),
    Built("black", 5, 14, 0, 2.0, 5.0, 60, 3.1),
    Built("black", 20, 20, 0, 0.0, 2.0, 35, -6.0),
    Built("black", 8, 20, 0, 0.0, 8.0, 70, 1.0),
    Built("white", 12, 20, 0.3, 1.0, 0.0, 60, 0),
    Built("white", 25, 16, 0.4, 1.0, 0.0, 45, 3.0),
]


@pytest.mark.parametrize("cover", BRUTE, ids=lambda c: f"{c.walls}-{c.depth}-{c.opening:.0f}")
def test_evenness_is_that_of_a_sum_by_brute_force(cover):
    assert evenness(cover) == pytest.approx(brute(cover), rel=3e-3)


def test_the_eye_and_the_front_s_scatter_mix_no_dark_wall_into_the_uniformity():
    small = Built("black", 49, 17, 0, 0.0, 3.5, 60, 0)
    assert evenness(replace(small, scatter=3.0)) == pytest.approx(evenness(small))
    found = figures(replace(small, scatter=1.0).display(), 3.0)
    assert found.min_to_mean == pytest.approx(evenness(small)[0])
    assert found.seen_min_to_mean < 0.5, "that of a whole cell, its dark walls in it"


def test_crosstalk_between_walls_is_the_blurred_light_summed_by_brute_force():
    cover = Built("black", 10, 18, 0, 2.0, 0.0, 60, 2.0)
    step = 0.1
    at = np.arange(-40 + step / 2, 40, step)  # three cells and more, with the lit one in the middle
    light = (1 + (at**2 + (at[:, None] - cover.off) ** 2) / cover.depth**2) ** -2.0
    inside = np.abs(at) < cover.opening / 2
    light *= inside * inside[:, None]
    kernel = np.exp(-0.5 * (np.arange(-100, 101) * step / cover.scatter) ** 2)
    kernel /= kernel.sum()
    for axis in (0, 1):
        light = np.apply_along_axis(np.convolve, axis, light, kernel, "same")
    cell = [(at > edge) & (at < edge + PITCH_MM) for edge in (-30, -10, 10)]
    own = light[np.ix_(cell[1], cell[1])].sum()
    beside = [light[np.ix_(cell[n], cell[1])].sum() for n in (0, 2)]
    beside += [light[np.ix_(cell[1], cell[n])].sum() for n in (0, 2)]
    assert crosstalk(cover.display()) == pytest.approx(max(beside) / own, rel=5e-3)


def test_between_black_walls_the_spot_goes_where_the_led_goes():
    display = Built("black", 20, 18, 0, 1.0, 3.0, 60, 0).display()
    for off in (-3.0, 1.0, 2.0):
        assert off_centre(display, off).spot_mm == pytest.approx(off, abs=0.02)
    assert off_centre(display, 0.0).spot_mm == pytest.approx(0, abs=0.02)


def test_white_walls_carry_the_spot_further_than_the_led_and_an_even_cell_has_none():
    # The image behind the near wall adds to its side.
    display = Built("white", 20, 18, 0.8, 1.0, 3.0, 60, 0).display()
    assert 2.2 < off_centre(display, 2.0).spot_mm < 9
    assert off_centre(with_cover(display, depth_mm=90.0), 2.0).spot_mm is None


def test_strips_along_columns_sit_off_to_the_right_and_those_along_rows_below():
    for along, place in (("columns", 0), ("rows", 1)):
        display = parse_display(
            f"[grid]\ncolumns=3\nrows=3\npitch_mm=20\n[chip]\npart='WS2812B'\n"
            f"[wiring]\nalong='{along}'\n[cover]\noff_centre_mm=3\n",
            Path("w.toml"),
        )
        spot = over_opening(display).spot_mm
        assert spot[place] == pytest.approx(3, abs=0.02)
        assert spot[1 - place] == pytest.approx(0, abs=0.02)


@pytest.mark.parametrize("walls", ["black", "white"])
@pytest.mark.parametrize("depth", [6.0, 20.0])
def test_the_tolerance_keeps_nine_tenths_of_the_evenness_and_not_more(walls, depth):
    display = Built(walls, depth, 18, 0.8, 1.0, 2.0, 60, 1.0).display()
    centred = off_centre(display, 0.0).min_to_mean
    tolerance = tolerance_mm(display)
    assert tolerance is not None
    assert off_centre(display, tolerance).min_to_mean == pytest.approx(KEPT * centred, rel=2e-3)
    assert off_centre(display, 1.1 * tolerance).min_to_mean < KEPT * centred


def test_where_no_place_in_the_opening_is_less_even_there_is_no_tolerance():
    bare = Built("none", 20, 18, 0, 1.0, 2.0, 60, 0).display()
    assert tolerance_mm(bare) is None
    assert widest_off_mm(bare) == 9.0  # half of 20 mm, less half of the LED
    assert off_centre(bare, 5.0).min_to_mean == pytest.approx(off_centre(bare, 0.0).min_to_mean)
    full = Built("black", 20, 5, 0, 1.0, 5.0, 60, 0).display()
    assert (tolerance_mm(full), widest_off_mm(full)) == (None, 0.0)
