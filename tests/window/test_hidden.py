"""Hidden LEDs in the window: on the path of the data, and nowhere in the light."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pygame
import pytest

from emulator import Display, SimulatedClock, parse_display
from emulator.light.numbers import led_numbers
from emulator.view.controls import Action
from emulator.view.reading import read_cell
from emulator.window import WallWindow
from emulator.window.layout import Layout
from emulator.window.overlay import data_path
from tests.window.driving import press, wall_pixels


def wall(columns: int, rows: int, grid: str = "", words: str = "hidden_first = 1") -> Display:
    text = (
        f"[grid]\ncolumns = {columns}\nrows = {rows}\n{grid}\n[chip]\npart = 'WS2812B'\n"
        f"[wiring]\n{words}\nhidden_between = 1\nhidden_last = 2\n"
    )
    return parse_display(text, Path("wall.toml"))


@pytest.mark.parametrize("size", [(1, 4), (4, 1), (6, 3), (1, 1)])
def test_the_path_is_drawn_where_runs_have_more_leds_than_cells(dummy_screen, size):
    display = wall(*size)
    pygame.display.set_mode((320, 240))
    layout = Layout.fit(display, (320, 240), instruments=False)
    path = data_path(display, layout)
    assert path.get_size() == layout.wall.size
    assert pygame.surfarray.array_alpha(path).any()


def test_the_numbers_on_the_cells_are_those_of_the_wire():
    numbers = {(n.column, n.row): n.text for n in led_numbers(wall(3, 2), 40, 40)[1]}
    # LED 0 is hidden, LED 4 is at the turn.
    assert numbers == {
        (0, 0): "1", (1, 0): "2", (2, 0): "3", (2, 1): "5", (1, 1): "6", (0, 1): "7",
    }  # fmt: skip
    _, firsts = led_numbers(wall(3, 2), 3, 20)  # too small: the first of each run alone
    assert firsts[0].text == "1"


def test_the_card_of_a_gap_names_the_led_that_sits_there():
    display = wall(3, 2, "gaps = [{ column = 1, row = 0, hidden_leds = true }]")
    drives = np.zeros((display.leds, 3), np.uint8)
    assert read_cell(display, drives, (1, 0)).place == (
        "gap: LED 2 of line 0 has no cell, stays dark"
    )
    assert read_cell(display, drives, (2, 0)).place == "LED 3 · line 0 · run 0"


def test_a_lit_hidden_led_shows_nowhere_on_the_wall(dummy_screen):
    display = wall(6, 3)
    dark = np.zeros(display.picture_shape, np.uint8)
    window = WallWindow(
        display, {"dark": lambda time_s: dark}, "dark", real_time=False, clock=SimulatedClock(),
        pixels_wide=480,
    )  # fmt: skip
    try:
        window.step()
        frame = np.zeros((display.leds, 3), np.uint8)
        frame[display.wiring.hidden] = 255
        window.bench.send_frame(frame.tobytes())
        assert window.bench.drives[display.wiring.hidden].all()
        assert not window.bench.picture.any()
        press(window, Action.PAUSE)
        assert not wall_pixels(window).any()
    finally:
        window.close()
