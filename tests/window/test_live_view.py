"""Distance, light around, night and colours, changed while the wall plays."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from emulator import SimulatedClock, parse_display
from emulator.light.adaptation import share_of_field
from emulator.light.look import Look
from emulator.light.wall import WallView
from emulator.picture.srgb import linear_to_srgb
from emulator.view.colours import ACCENT
from emulator.view.controls import Action
from emulator.view.viewing import Viewing
from emulator.window import WallWindow
from tests.window.driving import (
    at_cell,
    near,
    pixels,
    press,
    wall_pixels,
)


def test_light_around_greys_a_dark_wall_by_what_the_front_throws_back(make):
    window = make("dark")
    window.step()
    assert wall_pixels(window).max() == 0
    press(window, *[Action.LIGHTER] * 3)
    assert window.state.viewing.ambient_lx == 200
    # A Lambertian front that lets half pass (the default) throws half back: 200 · 0.5/π cd/m²,
    # beside the wall's own peak (emulator.light, checked there against the optics).
    around = 200 * 0.5 / np.pi
    peak = WallView(window.bench.display, 480, Look(3.0)).peak_cdm2
    grey = 255 * float(linear_to_srgb(around / (peak + around)))
    assert grey > 20
    assert near(at_cell(window, 1, 1), (grey,) * 3, 1.5)
    press(window, *[Action.DARKER] * 3)
    assert wall_pixels(window).max() == 0


def test_from_further_away_the_eye_blurs_the_cells(make):
    window = make("first", viewing=Viewing(0.5))
    window.step()
    near_by = wall_pixels(window)[:, :, 0]
    press(window, *[Action.FARTHER] * 20)
    assert window.state.viewing.distance_m == 100
    far_off = wall_pixels(window)[:, :, 0]
    assert far_off.max() < near_by.max() - 10
    spread = [int((wall > 0.2 * wall.max()).sum()) for wall in (near_by, far_off)]
    assert spread[1] > 1.2 * spread[0]
    press(window, *[Action.NEARER] * 20)
    assert (wall_pixels(window)[:, :, 0] == near_by).all()


def test_by_night_what_is_faint_shows_and_nothing_else_is_lit(make):
    window = make("level", viewing=Viewing(6.0, 200.0))
    for _ in range(8):
        window.step()  # 0.28 s: 1/36 of full blue
    press(window, Action.PAUSE)
    press(window, Action.LIGHTER, *[Action.DARKER] * 6)
    dark_room = at_cell(window, 6, 3)
    press(window, Action.NIGHT)
    by_night = at_cell(window, 6, 3)
    assert by_night[2] > 2 * dark_room[2] > 20
    assert by_night[:2] == (0, 0), "the hue stays"
    assert max(at_cell(window, 3, 1)) < by_night[2] / 2, "a gap beside it gets what leaks alone"
    press(window, Action.NIGHT)
    assert at_cell(window, 6, 3) == dark_room


@pytest.mark.slow
def test_by_night_the_eye_grows_used_to_a_bright_wall(make):
    window = make("first", viewing=Viewing(6.0, night=True))
    window.step()
    window.state.playing = window.state.sources.index("green")
    window.step()
    gains = []
    for _ in range(200):  # 8 s
        window.step()
        gains.append(window.screen._wall._seen._gain)
    assert gains[0] > 5 * gains[-1] >= 5
    assert np.diff(gains).max() <= 1e-9, "steadily"
    # 8 s are four times what it takes for 63 %: e⁻⁴ = 1.8 % of the way is left, in the logarithm.
    assert gains[-1] == pytest.approx(gains[-20], rel=0.1)


def test_by_night_the_white_of_an_rgbw_wall_counts_by_what_w_gives(dummy_screen):
    text = "[grid]\ncolumns=4\nrows=2\n[chip]\npart='SK6812-RGBW'\n[wiring]\n"
    rgbw = parse_display(text, Path("rgbw.toml"))
    white = {"white": lambda time_s: np.full(rgbw.picture_shape, 255, np.uint8)}
    viewing = Viewing(20.0, night=True)
    window = WallWindow(
        rgbw, white, "white", real_time=False, clock=SimulatedClock(), viewing=viewing
    )
    try:
        for _ in range(2):
            window.step()
        wide = window.screen.layout.wall.width
        view = WallView(rgbw, wide, Look(20.0))
        mean = view.luminance(np.ones(rgbw.picture_shape, np.float32)).mean()
        used_to = share_of_field(rgbw, 20.0) * mean
        assert window.screen._wall._seen._gain == pytest.approx(
            0.18 * view.peak_cdm2 / used_to, rel=0.02
        )
    finally:
        window.close()


def test_colours_change_between_what_is_meant_and_what_the_leds_have(make):
    window = make("green")
    window.step()
    meant = at_cell(window, 6, 0)
    assert near(meant, (0, 255, 0), 60)
    assert meant[0] == meant[2] == 0
    press(window, Action.COLOURS)
    shown = at_cell(window, 6, 0)
    view = WallView(window.bench.display, 480, Look(3.0, led_colours=True))
    cells = window.bench.picture
    x, y = (int(v) for v in window.screen.layout.centre(6, 0))
    assert near(shown, view.draw(cells)[y, x].astype(int), 2)
    assert not near(shown, meant, 3)
    press(window, Action.COLOURS)
    assert at_cell(window, 6, 0) == meant


def test_a_change_of_the_view_is_told_in_the_strip_for_a_while(make):
    window = make("dark")
    window.step()
    press(window, Action.FARTHER)
    assert window.screen._note == "from 4 m, dark room, colours as meant"
    strip = pixels(window)[window.screen.layout.strip.top :]
    assert (strip == ACCENT).all(axis=2).any()
