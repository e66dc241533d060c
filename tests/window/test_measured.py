"""Instruments in the window, late frames, and screens of another density."""

from __future__ import annotations

import dataclasses

import numpy as np
import pygame
import pytest

from emulator import SimulatedClock
from emulator.view.controls import Action
from emulator.window import WallWindow
from emulator.window.layout import Place
from tests.window.driving import (
    at_cell,
    click,
    near,
    pixels,
    press,
)


def test_instruments_go_and_come_by_key_and_the_wall_takes_their_room(make):
    window = make("red", pixels_wide=960)
    window.step()
    assert window.screen.layout.place is Place.BESIDE
    window.screen._glass.window.size = (1000, 640)
    window.step()
    with_them = window.screen.layout.wall.width
    press(window, Action.INSTRUMENTS)
    window.step()
    assert window.screen.layout.place is Place.NOWHERE
    assert window.screen.layout.wall.width > with_them
    press(window, Action.INSTRUMENTS)
    window.step()
    assert window.screen.layout.wall.width == with_them


def test_what_lay_over_the_instruments_leaves_no_trace(make):
    window = make("red")
    window.step()
    press(window, Action.PAUSE)
    before = pixels(window)
    press(window, Action.HELP)
    assert window.screen._panel.colliderect(window.screen.layout.instruments)
    assert (pixels(window) != before).any()
    press(window, Action.HELP)
    assert (pixels(window) == before).all()


def test_frames_that_come_due_while_the_machine_is_busy_are_counted(make):
    window = make("level", real_time=True)
    clock = window._clock
    for ms in range(0, 1000, 10):
        clock.wait_until(ms * 1_000_000)
        window.step()
    assert window._computer_late == 0
    # Frames at 1.00, 1.04 … 4.96 s come due; the one of 5.00 s is shown.
    clock.wait_until(5_010_000_000)
    window.step()
    assert window._computer_late == 100
    press(window, Action.PAUSE)
    clock.wait_until(9_000_000_000)
    press(window, Action.PAUSE)
    window.step()
    assert window._computer_late == 100, "a pause makes nothing late"


def test_frames_that_the_line_is_too_slow_for_are_late(dummy_screen, display):
    # 14 LEDs take 24 · 14 · 1.25 µs = 0.42 ms and a reset of at least 0.28 ms (WS2812B-V5
    # datasheet, from memory): at 2000 frames/s every second one comes due during the other.
    controller = display.controller.model_copy(update={"frame_rate": 2000.0})
    fast = dataclasses.replace(display, controller=controller)
    dark = np.zeros(display.picture_shape, np.uint8)
    clock = SimulatedClock()
    window = WallWindow(fast, {"dark": lambda t: dark}, "dark", pixels_wide=240, clock=clock)
    for number in range(100):
        clock.wait_until(number * 500_000)
        window.step()
    window.close()
    assert len(window.bench.frames) + window._wall_late == pytest.approx(100, abs=2)
    assert window._wall_late == pytest.approx(50, abs=2)


def test_scale_makes_the_window_and_all_in_it_larger(make):
    window = make("red", scale=2.0, pixels_wide=240)
    window.step()
    layout = window.screen.layout
    assert layout.wall.width == 480
    assert layout.strip.height == 68
    click(window, layout.cell(6, 1).center)
    assert window.state.picked == (6, 1)


class DenseWindow(pygame.Window):
    """As on a screen of twice the usual density: SDL reports its size and the mouse in points."""

    def get_surface(self):
        super().get_surface()  # pygame takes its formats from it
        if not hasattr(self, "dense"):
            self.dense = pygame.Surface((2 * self.size[0], 2 * self.size[1]))
        return self.dense

    def flip(self):
        pass


def test_a_dense_screen_is_drawn_at_its_pixels_and_clicked_at_its_points(make, monkeypatch):
    monkeypatch.setattr(pygame, "Window", DenseWindow)
    window = make("red", pixels_wide=240)
    window.step()
    layout = window.screen.layout
    assert (layout.scale, layout.wall.width, layout.strip.height) == (2.0, 480, 68)
    x, y = layout.cell(6, 1).center
    click(window, (x // 2, y // 2))
    assert window.state.picked == (6, 1)


def test_two_windows_close_one_by_one(make):
    first, second = make("red"), make("green")
    first.step()
    second.step()
    first.close()
    second.step()
    assert near(at_cell(second, 6, 3), (0, 255, 0), 40)
    second.close()
    assert not pygame.display.get_init()
