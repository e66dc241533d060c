"""Zooming and scrolling: what is seen, which cell is where, and keys, wheel and mouse for it."""

from __future__ import annotations

import itertools
from pathlib import Path

import numpy as np
import pygame
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator import parse_display
from emulator.light.look import Look
from emulator.light.wall import Part, WallView
from emulator.view.controls import Action, State
from emulator.view.seen import Seen
from emulator.view.viewing import Viewing
from emulator.view.zoom import KEY_STEP, Zoom
from emulator.window.layout import Layout
from emulator.window.overlay import Numbers
from tests.window.driving import click, pixels, press, wall_pixels


def display(columns, rows, cover="depth_mm = 15"):
    text = f"[grid]\ncolumns={columns}\nrows={rows}\n[chip]\npart='WS2812B'\n[wiring]\n"
    return parse_display(f"{text}[cover]\n{cover}\n", Path("wall.toml"))


def drag(window, *places):
    kinds = [pygame.MOUSEBUTTONDOWN, *[pygame.MOUSEMOTION] * (len(places) - 1)]
    for kind, at in zip(kinds, places, strict=True):
        more = {"button": 1} if kind == pygame.MOUSEBUTTONDOWN else {"buttons": (1, 0, 0)}
        pygame.event.post(pygame.event.Event(kind, pos=at, **more))
    pygame.event.post(pygame.event.Event(pygame.MOUSEBUTTONUP, pos=places[-1], button=1))
    window.step()


def wheel(window, notches, at):
    pygame.event.post(pygame.event.Event(pygame.MOUSEMOTION, pos=at, buttons=(0, 0, 0)))
    pygame.event.post(pygame.event.Event(pygame.MOUSEWHEEL, x=0, y=notches))
    window.step()


zooms = st.builds(Zoom, st.floats(1, 40), st.floats(-0.2, 1.2), st.floats(-0.2, 1.2), st.just(40.0))


@given(st.integers(1, 400), st.integers(1, 400), st.integers(60, 900), st.integers(60, 700), zooms)
def test_each_pixel_of_a_zoomed_wall_names_the_cell_that_is_drawn_there(
    columns, rows, wide, high, zoom
):
    """The middle of a pixel counts. Nothing is empty where there could be wall."""
    whole = Layout.fit(display(columns, rows), (wide, high))
    layout = whole.zoomed(zoom)
    assert layout.full.contains(layout.wall)
    assert zoom.factor == 1 or layout.wall.width == min(layout.full.width, layout.room.width)
    for at in (layout.wall.topleft, layout.wall.center, (layout.wall.right - 1, layout.wall.top)):
        x, y = ((place + 0.5 - edge) for place, edge in zip(at, layout.full.topleft, strict=True))
        column, row = x * columns / layout.full.width, y * rows / layout.full.height
        assert layout.cell_at(at) == (int(column), int(row))
    left, top, right, bottom = (*layout.wall.topleft, *layout.wall.bottomright)
    for at in ((left - 1, top), (left, top - 1), (right, top), (left, bottom)):
        assert layout.cell_at(at) is None
    assert whole.zoomed(layout.in_sight(zoom)) == layout, "it stays where it is"


def test_steps_there_and_back_and_no_further_than_four_cells():
    state = State(zoom=Zoom.of(display(32, 20)))
    for _ in range(12):
        state.do(Action.ZOOM_IN)
    assert state.zoom.factor == 8
    for _ in range(12):
        state.do(Action.ZOOM_OUT)
    assert state.zoom == Zoom(most=8)
    state.do(Action.ZOOM_IN)
    assert state.zoom.factor == KEY_STEP
    state.do(Action.WHOLE)
    assert state.zoom == Zoom(most=8)
    assert not State().offers(Action.ZOOM_IN), "a surface that cannot zoom"


@pytest.mark.parametrize("cover", ["walls='none'\ndepth_mm=25", "walls='white'\ndepth_mm=12"])
def test_a_part_is_cut_from_the_whole_picture(cover):
    made = display(30, 18, cover)
    lit = np.random.default_rng(3).random((18, 30, 3)).astype(np.float32)
    look = Look(2.0, 20.0, 900.0)
    whole = WallView(made, 700, look)
    picture = whole.draw(lit).copy().astype(int)
    part = Part((700, whole.height), 211, 93, 305, 120)
    view = WallView(made, 700, look, part)
    assert view.peak_cdm2 == pytest.approx(whole.peak_cdm2, rel=0.01)
    for left, top in itertools.product((211, 0, 395), (93, whole.height - 120)):
        view.show(part._replace(left=left, top=top))
        cut = picture[top : top + 120, left : left + 305]
        assert np.abs(view.draw(lit) - cut).max() <= 1
        assert view.cell_at(7, 11) == whole.cell_at(left + 7, top + 11)


def test_by_night_the_eye_is_used_to_the_whole_wall_also_where_it_is_zoomed():
    text = "[grid]\ncolumns=30\nrows=18\ngaps=[{column=0,row=0,columns=14,rows=18}]\n"
    text += "[chip]\npart='WS2812B'\n[wiring]\n[cover]\ndepth_mm=15\n"
    made = parse_display(text, Path("wall.toml"))
    light = np.full((made.leds, 3), 0.02, np.float32)
    whole, viewing = Seen(made, 600), Viewing(3.0, night=True)
    whole.look(viewing)
    zoomed = Seen(made, 600, Part(whole.size, 0, 0, 300, 100))  # most of it dark
    zoomed.look(viewing)
    assert whole.changes(light, 0)
    assert zoomed.changes(light, 0)
    cut = whole.draw(light)[:100, :300].astype(int)
    assert cut.max() > 50
    assert np.abs(zoomed.draw(light) - cut).max() <= 2


def test_a_pixel_larger_than_a_cell_shows_the_mean_light_of_its_area():
    """Against the mean of 3 by 3 pixels of a picture three times as large, in linear light."""
    made = display(90, 60, "walls='black'\ndepth_mm=12")
    lit = np.random.default_rng(4).random((60, 90, 3)).astype(np.float32)
    fine = WallView(made, 90).luminance(lit)
    coarse = WallView(made, 30, part=Part((30, 20), 0, 0, 30, 20)).luminance(lit)
    wanted = fine.reshape(20, 3, 30, 3).mean(axis=(1, 3))
    assert coarse == pytest.approx(wanted, rel=2e-3, abs=float(wanted.max()) / 1000)


def test_keys_zoom_and_scroll(make):
    window = make("first")
    window.step()
    whole = wall_pixels(window)
    press(window, Action.ZOOM_IN)
    assert window.screen.layout.full.width == round(KEY_STEP * window.screen._whole.wall.width)
    pygame.event.post(pygame.event.Event(pygame.KEYDOWN, key=pygame.K_LEFT, mod=pygame.KMOD_CTRL))
    pygame.event.post(pygame.event.Event(pygame.KEYDOWN, key=pygame.K_UP, mod=pygame.KMOD_CTRL))
    window.step()
    layout = window.screen.layout
    assert layout.full.topleft == layout.wall.topleft, "no further than the wall's corner"
    x, y = layout.cell(0, 0).center
    assert pixels(window)[y, x, 0] > 150
    press(window, Action.WHOLE)
    assert (wall_pixels(window) == whole).all()
    assert window.state.viewing.distance_m == 3.0, "Ctrl + arrows do not walk"


def test_the_wheel_keeps_the_cell_below_the_pointer(make):
    window = make("dark")
    at = window.screen.layout.cell(6, 2).center
    for notches in (1, 1, 1, -1, 1):
        wheel(window, notches, at)
        assert window.screen.layout.cell_at(at) == (6, 2)
    assert window.state.zoom.factor == pytest.approx(2**0.75)
    wheel(window, -9, at)
    assert window.state.zoom.factor == 1


def test_a_drag_scrolls_and_a_click_still_picks(make):
    window = make("dark")
    press(window, Action.ZOOM_IN, Action.ZOOM_IN)
    before = window.screen.layout
    middle = before.wall.center
    drag(window, middle, (middle[0] + 30, middle[1] + 2), (middle[0] + 41, middle[1] + 17))
    moved = window.screen.layout.full.topleft
    assert (moved[0] - before.full.left, moved[1] - before.full.top) == (41, 17)
    assert window.state.picked is None, "a drag picks nothing"
    cell = window.screen.layout.cell_at(middle)
    drag(window, middle, (middle[0] + 2, middle[1]))
    assert window.state.picked == cell
    assert window.screen.layout.full.topleft == moved
    press(window, Action.WHOLE, Action.DISMISS)
    click(window, middle)
    assert window.state.picked == window.screen.layout.cell_at(middle), "at once, not zoomed"


def test_a_picked_cell_out_of_sight_is_not_marked(make):
    window = make("dark")
    press(window, Action.ZOOM_IN, Action.ZOOM_IN, Action.NUMBERS, Action.PATH)
    layout = window.screen.layout
    window.state.picked = (0, 0)
    for key in (pygame.K_RIGHT, pygame.K_RIGHT, pygame.K_RIGHT):
        pygame.event.post(pygame.event.Event(pygame.KEYDOWN, key=key, mod=pygame.KMOD_CTRL))
    window.step()
    assert window.screen.layout != layout
    accent = (pixels(window) == (238, 178, 104)).all(axis=2)
    spot = window.screen.layout.cell(0, 0)
    assert not spot.colliderect(window.screen.layout.wall)
    assert accent[window.screen.layout.wall.bottom + 4 : window.screen.layout.strip.top].sum() == 0


def test_numbers_where_no_led_is_in_sight_write_nothing(dummy_screen):
    wall = parse_display(
        "[grid]\ncolumns=24\nrows=24\ngaps=[{column=4, row=4, columns=16, rows=16}]\n"
        "[chip]\npart='WS2812B'\n[wiring]\n", Path("hole.toml"),
    )  # fmt: skip
    numbers = Numbers(wall, Layout.fit(wall, (480, 480)).zoomed(Zoom(4.0)))
    surface = pygame.Surface((480, 480))
    numbers.draw(surface)
    assert not pygame.surfarray.array3d(surface).any()
