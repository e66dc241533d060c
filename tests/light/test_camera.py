"""The camera in a gap: opening, hood, and the wall's light on its lens."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from emulator.description.camera import Camera
from emulator.description.load import parse_display
from emulator.errors import DisplayFileError
from emulator.light.camera import camera_figures, lens_lux
from emulator.light.primaries import chip_primaries
from tests.tables import telling

WALL = """
[grid]
columns = 7
rows = 5
pitch_mm = 20
row_pitch_mm = 24
gaps = [{ column = 0, row = 0 }, { column = 3, row = 1, columns = 2, rows = 2 }]
[chip]
part = "WS2812B"
emitter_mm = 0
[wiring]
[cover]
depth_mm = 15
walls = "none"
scatter_mm = 0
"""
CAMERA = "[camera]\nbehind_mm = 12\nfield_deg = 60\nlens_mm = 4\ngap = 1\n"


def wall(camera=CAMERA, **changes):
    text = WALL
    for key, value in changes.items():
        text = "\n".join(
            f"{key} = {value!r}".replace("'", '"') if line.startswith(f"{key} =") else line
            for line in text.splitlines()
        )
    return parse_display(f"{text}\n{camera}", Path("wall.toml"))


def test_the_opening_is_the_lens_and_the_field_at_the_front():
    """By hand: 4 + 2 · 12 · tan 30° = 17.856 mm."""
    assert camera_figures(wall()).opening_mm == pytest.approx(17.8564, abs=1e-4)


def test_the_hood_hides_the_nearest_cell_from_every_point_of_the_lens_and_no_shorter_one_does():
    figures, camera = camera_figures(wall()), wall().camera
    edge_mm = 20.0  # half of two columns
    assert figures.middle_mm == (80.0, 48.0)
    for length, hidden in ((figures.hood_mm, True), (0.99 * figures.hood_mm, False)):
        # The ray from one side of the lens past the other side of the rim.
        rim, lens = camera.clear_mm(length) / 2, camera.lens_mm / 2
        at_front = -lens + (rim + lens) * camera.behind_mm / length
        assert (at_front <= edge_mm + 1e-9) == hidden
    # And no ray of the field meets it: at the rim the field is as wide as the rim.
    assert figures.rim_mm == pytest.approx(4 + 2 * figures.hood_mm * math.tan(math.pi / 6))


def test_a_lens_before_an_even_front_gets_the_light_of_a_disc_with_a_hole():
    """Closed form for a small lens: π L (cos² of the hole − cos² of the rim's shadow)."""
    camera = Camera(behind_mm=30, field_deg=80, lens_mm=0.01, hood_mm=None)
    wide = 30 * 200.0
    (bare,) = lens_lux(
        camera, [0.0], lambda x, y: np.full((len(y), len(x)), 5.0), (-wide, -wide, wide, wide)
    )
    hole = math.cos(math.radians(40)) ** 2
    assert bare == pytest.approx(math.pi * 5 * hole, rel=2e-3)


def test_a_hood_up_to_the_front_keeps_all_light_out():
    assert camera_figures(wall(CAMERA + "hood_mm = 12\n")).hooded_lx == 0.0
    assert camera_figures(wall(CAMERA)).bare_lx > 0


def rays_lux(display, hood_mm, count, seed):
    """Illuminance on the lens by rays, each traced on its own from the lens out to the front.

    Directions are drawn with a density of cos θ / π, so that the mean luminance met, times π, is
    the illuminance. Light at a point of the front: the inverse-square law for every LED.
    """
    draw = np.random.default_rng(seed)
    camera, grid, cover = display.camera, display.grid, display.cover
    gap = grid.gaps[camera.gap]
    pitch = np.array(grid.pitches_mm)
    axis = (np.array([gap.column, gap.row]) + np.array([gap.columns, gap.rows]) / 2) * pitch
    angle, radius = draw.uniform(0, 2 * np.pi, count), np.sqrt(draw.uniform(0, 1, count))
    at = camera.lens_mm / 2 * (radius * np.array([np.cos(angle), np.sin(angle)])).T
    turn, sine = draw.uniform(0, 2 * np.pi, count), np.sqrt(draw.uniform(0, 1, count))
    heading = (sine / np.sqrt(1 - sine**2) * np.array([np.cos(turn), np.sin(turn)])).T
    alive = np.ones(count, dtype=bool)
    tube_mm = camera.lens_mm / 2 + hood_mm * math.tan(math.radians(camera.field_deg / 2))
    for step in np.linspace(0, hood_mm, 40):  # along the inside of the tube
        alive &= np.hypot(*(at + step * heading).T) <= tube_mm
    end = at + camera.behind_mm * heading
    alive &= np.hypot(*end.T) > camera.opening_mm / 2
    end = end[alive] + axis
    end = end[((end >= 0) & (end <= pitch * [grid.columns, grid.rows])).all(axis=1)]
    lux = np.zeros(len(end))
    cosine_power = math.log(0.5) / math.log(math.cos(math.radians(display.chip.half_angle_deg)))
    for row, column in np.argwhere(~grid.gap_mask()):
        led = (np.array([column, row]) + 0.5) * pitch
        far = np.sqrt(((end - led) ** 2).sum(axis=1) + cover.depth_mm**2)
        cosine = cover.depth_mm / far
        lux += cosine**cosine_power * cosine / (far / 1000) ** 2
    candela = chip_primaries(display.chip).intensity_cd
    return float((lux * candela).sum() * (1 - cover.transmission) / count)


@pytest.mark.parametrize(
    ("changes", "camera"),
    telling(
        [({"transmission": 0.3}, CAMERA + "hood_mm = 3.5\n"), ({}, CAMERA)],
        lambda case: "hood_mm" in case[1],
    ),
)
def test_the_light_on_the_lens_is_that_of_a_sum_of_rays(changes, camera):
    display = wall(camera, **changes)
    figures = camera_figures(display)
    # Rays scatter: 12,000 of them leave about 1.5 % of a bare lens, 4 % of a hooded one.
    assert figures.bare_lx == pytest.approx(rays_lux(display, 0.0, 12_000, 1), rel=0.05)
    hooded = rays_lux(display, figures.hood_mm, 400_000, 2)
    assert figures.hooded_lx == pytest.approx(hooded, rel=0.12)
    assert figures.hooded_lx < figures.bare_lx / 2


def test_walls_leave_only_what_the_front_scatters():
    sharp = camera_figures(wall(walls="black"))
    soft = camera_figures(wall(walls="black", scatter_mm=1.0))
    open_ = camera_figures(wall(scatter_mm=1.0))
    assert sharp.bare_lx == 0
    assert 0 < soft.bare_lx < 0.2 * open_.bare_lx


def test_a_lens_in_the_front_needs_no_hood():
    figures = camera_figures(wall("[camera]\nbehind_mm = 0\nfield_deg = 90\ngap = 1\n"))
    assert (figures.opening_mm, figures.hood_mm, figures.bare_lx) == (3.0, 0.0, 0.0)
    assert camera_figures(wall("")) is None


@pytest.mark.parametrize(
    ("camera", "key", "said"),
    [
        ("behind_mm = 12\nfield_deg = 60\ngap = 2", "gap", "from 0 to 1"),
        ("behind_mm = 30\nfield_deg = 90\ngap = 1", "behind_mm", "18.5 mm behind the front"),
        ("behind_mm = 12\nfield_deg = 60\ngap = 1\nhood_mm = 13", "hood_mm", "at most 12"),
        ("behind_mm = 1\nfield_deg = 60\nlens_mm = 50\ngap = 1", "behind_mm", "make the gap"),
        ("behind_mm = 12\nfield_deg = 180\ngap = 1", "field_deg", "160"),
        ("field_deg = 60\ngap = 1", "behind_mm", "add 'behind_mm'"),
        ("behind_mm = inf\nfield_deg = 60\ngap = 1", "behind_mm", "finite"),
    ],
)
def test_an_error_names_the_key_its_line_and_the_fix(camera, key, said):
    with pytest.raises(DisplayFileError) as told:
        wall(f"[camera]\n{camera}\n")
    problem = told.value.problems[0]
    assert (problem.table, problem.key) == ("[camera]", key)
    assert problem.line is not None
    assert said in str(told.value)


def test_a_wall_without_gaps_has_no_place_for_a_camera():
    text = WALL.replace("gaps =", "#") + "[camera]\nbehind_mm = 12\nfield_deg = 60\n"
    with pytest.raises(DisplayFileError, match=r"no gaps[\s\S]*add the gap to gaps in \[grid\]"):
        parse_display(text, Path("wall.toml"))
