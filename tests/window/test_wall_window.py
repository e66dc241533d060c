"""The window, driven by real pygame events on SDL's dummy screen: state and pixels."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pygame
import pytest
from PIL import Image

from emulator import UnknownNameError
from emulator.errors import WindowError
from emulator.picture.srgb import linear_to_srgb
from emulator.view.colours import ACCENT, LINE_COLOURS, PANEL
from emulator.view.controls import Action
from tests.window.driving import (
    KEY_OF,
    at_cell,
    click,
    near,
    pixels,
    press,
    strip_clickable,
    wall_pixels,
)

FRAME_NS = 40_000_000  # 25 frames/s


def test_led_0_lit_red_shows_top_left_and_nowhere_else(make):
    window = make("first")
    window.step()
    wall = wall_pixels(window)
    # Direct sum: a lone LED's spot is as bright as its own share of a wall lit all over, where
    # the Gaussian of the cover (15 mm deep, pitch 1000/30 mm) adds its neighbours.
    sigma = 15 * np.sqrt(np.sqrt(2) - 1) / np.sqrt(2 * np.log(2)) / (1000 / 30)
    share = 1 / np.exp(-0.5 * (np.arange(-20, 21) / sigma) ** 2).sum()
    assert near(at_cell(window, 0, 0), (255 * linear_to_srgb(share**2), 0, 0))
    assert wall[:, :, 1:].max() == 0, "only red"
    far = wall.copy()
    cell = wall.shape[1] // 8
    far[: 3 * cell, : 3 * cell] = 0
    assert far.max() == 0, "only near the top-left corner"


def test_a_pause_holds_picture_and_clock_and_a_step_shows_one_frame(make):
    window = make("level")
    for _ in range(10):
        window.step()
    press(window, Action.PAUSE)
    held, time_ns, frames = pixels(window), window.bench.clock.now_ns(), len(window.bench.frames)
    window.step()
    window.step()
    assert window.bench.clock.now_ns() == time_ns
    assert (pixels(window) == held).all()
    press(window, Action.STEP)
    assert len(window.bench.frames) == frames + 1
    assert window.bench.recorder.times_ns[-1] // FRAME_NS == time_ns // FRAME_NS + 1
    assert near(pixels(window)[-17, 16:28].max(axis=0), ACCENT, 0), "the strip shows the pause mark"
    window.step()
    assert len(window.bench.frames) == frames + 1, "and no more"
    press(window, Action.PAUSE)
    assert window.bench.clock.now_ns() > time_ns + FRAME_NS
    assert not (pixels(window)[-17, 16:28] == ACCENT).all(axis=1).any()


def test_every_step_in_simulated_time_is_one_frame_of_the_display(make):
    window = make("level")
    for number in range(1, 6):
        window.step()
        assert len(window.bench.frames) == number
    assert np.diff(window.bench.recorder.times_ns).tolist() == [FRAME_NS] * 4


def test_real_time_keeps_pace_with_the_clock_and_drops_what_came_due(make):
    window = make("level", real_time=True)
    clock = window._clock
    for ms in range(0, 1000, 10):
        clock.wait_until(ms * 1_000_000)
        window.step()
    assert len(window.bench.frames) == 25
    clock.wait_until(5_010_000_000)  # the machine was busy for four seconds
    window.step()
    window.step()
    clock.wait_until(5_030_000_000)
    window.step()
    assert len(window.bench.frames) == 26
    # 'level' is 1/10 a second: it shows the picture for 5.0 s, not one of the backlog.
    assert window.bench.drives[0].tolist() == [0, 0, 128]


def test_in_real_time_a_frame_shows_only_once_it_is_latched(make):
    window = make("red", real_time=True)
    window.step()
    assert wall_pixels(window).max() == 0
    # 14 LEDs of 24 bits at 1.25 µs and a reset of at least 280 µs (WS2812B-V5 datasheet).
    window._clock.wait_until(14 * 24 * 1_250 + 270_000)
    window.step()
    assert wall_pixels(window).max() == 0
    window._clock.wait_until(14 * 24 * 1_250 + 400_000)
    window.step()
    assert near(at_cell(window, 6, 3), (255, 0, 0), 40)


def test_time_key_and_a_click_on_the_clock_change_the_time(make):
    window = make("level", pixels_wide=960)
    press(window, Action.TIME)
    assert window.state.real_time
    time_ns = window.bench.clock.now_ns()
    window.step()
    assert window.bench.clock.now_ns() == time_ns, "our clock has not moved"
    window._clock.wait_until(1_000_000_000)
    window.step()
    assert window.bench.clock.now_ns() >= time_ns + 950_000_000
    click(window, strip_clickable(window, Action.TIME))
    assert not window.state.real_time


def test_next_previous_and_the_list_choose_what_plays(make):
    window = make("red")
    window.step()
    assert near(at_cell(window, 1, 1), (255, 0, 0), 12)
    press(window, Action.NEXT)
    assert window.playing == "green"
    assert near(at_cell(window, 1, 1), (0, 255, 0), 12)
    press(window, Action.PREVIOUS, Action.PREVIOUS)
    assert window.playing == "dark"
    assert wall_pixels(window).max() == 0
    click(window, strip_clickable(window, Action.LIST))
    assert window.state.listing
    place = window.screen._list_places[2][0]
    assert near(tuple(pixels(window)[place.centery, place.right - 6]), PANEL, 0)
    click(window, place.center)
    assert window.playing == "green"
    marked = [
        bool((pixels(window)[p.top : p.bottom, p.left : p.right] == ACCENT).all(axis=2).any())
        for p, _ in window.screen._list_places
    ]
    assert marked == [name == "green" for name in window.state.sources]
    assert window.state.listing, "stays open to try the next"
    press(window, Action.DISMISS)
    assert near(at_cell(window, 0, 3), (0, 255, 0), 40)


def test_a_source_chosen_while_paused_is_shown_at_once(make):
    window = make("red")
    press(window, Action.PAUSE)
    window.step()
    press(window, Action.NEXT)
    assert near(at_cell(window, 1, 1), (0, 255, 0), 12)


def test_numbers_are_written_on_the_cells_in_ink_that_stands_out(make):
    window = make("dark")
    window.step()
    press(window, Action.NUMBERS)
    cell = window.screen.layout.cell(6, 0)
    assert pixels(window)[cell.top : cell.bottom, cell.left : cell.right].min(axis=2).max() > 230
    gap = window.screen.layout.cell(3, 1)
    assert pixels(window)[gap.top : gap.bottom, gap.left : gap.right].max() == 0, (
        "no LED, no number"
    )
    press(window, Action.NEXT, Action.NEXT)  # green: luminance 0.72, wants black ink
    inside = pixels(window)[cell.top : cell.bottom, cell.left : cell.right]
    assert inside[:, :, 1].min() < 25
    press(window, Action.NUMBERS)
    inside = pixels(window)[cell.top : cell.bottom, cell.left : cell.right]
    assert inside[:, :, 1].min() > 25
    assert inside[:, :, 0].max() == 0, "nothing is left of them"


def test_the_ink_is_in_the_middle_of_the_strokes_and_its_halo_outside(make):
    window = make("dark", pixels_wide=960)
    window.step()
    press(window, Action.NUMBERS)
    cell = window.screen.layout.cell(1, 0)  # LED 1: a stem with nothing beside it

    def red_peaks():
        bright = pixels(window)[cell.centery, cell.left : cell.right, 0] > 120
        return int((np.diff(bright.astype(int)) == 1).sum())

    assert red_peaks() == 1, "a white stem on black"
    press(window, Action.NEXT, Action.NEXT)  # green
    assert red_peaks() == 2, "a black stem between its white edges"


def test_the_data_path_has_the_colour_of_each_line_and_spares_the_gap(make):
    window = make("dark", pixels_wide=960)
    window.step()
    press(window, Action.PATH)
    cell = window.screen.layout.cell
    # Between two LEDs, away from arrows: row 0 is line 0, row 3 line 1.
    for row, colour in ((0, LINE_COLOURS[0]), (3, LINE_COLOURS[1])):
        x = cell(6, row).left
        assert near(tuple(pixels(window)[cell(6, row).centery, x]), colour, 8)
    ring = window.screen.layout.cell(0, 0)
    line = pixels(window)[ring.top : ring.bottom, ring.centerx].max(axis=1)
    assert line[0] == 0
    assert line.max() > 200
    press(window, Action.PATH)
    assert wall_pixels(window).max() == 0


def test_a_click_on_a_cell_opens_its_card_and_another_closes_it(make):
    window = make("red", pixels_wide=960)
    window.step()
    click(window, window.screen.layout.cell(1, 1).center)
    assert window.state.picked == (1, 1)
    card = window.screen._panel
    assert near(tuple(pixels(window)[card.bottom - 5, card.centerx]), PANEL, 0)
    frame = window.screen.layout.cell(1, 1).inflate(4, 4)
    assert near(tuple(pixels(window)[frame.centery, frame.left]), ACCENT, 0)
    swatch = (pixels(window)[card.top : card.bottom, card.left : card.right] == (255, 0, 0)).all(
        axis=2
    )
    assert swatch.sum() > 100, "the colour swatch"
    click(window, card.center)
    assert window.state.picked == (1, 1), "a click on the card leaves it open"
    click(window, (2, 2))
    assert window.state.picked is None
    assert near(at_cell(window, 1, 1), (255, 0, 0), 12)
    click(window, window.screen.layout.cell(7, 3).center)
    press(window, Action.DISMISS)
    assert window.state.picked is None


def test_a_card_at_any_corner_stays_in_the_window(make):
    window = make("dark", pixels_wide=240)
    for cell in ((0, 0), (7, 0), (0, 3), (7, 3), (3, 1)):
        click(window, (2, 2))
        click(window, window.screen.layout.cell(*cell).center)
        assert window.state.picked == cell
        inside = pygame.Rect(0, 0, window.screen.layout.window[0], window.screen.layout.strip.top)
        assert inside.contains(window.screen._panel)


def test_the_help_opens_by_key_and_by_click_and_closes_by_a_click(make):
    window = make("dark", pixels_wide=960)
    press(window, Action.HELP)
    middle = window.screen._panel
    assert near(tuple(pixels(window)[middle.top + 6, middle.centerx]), PANEL, 0)
    assert (
        len(np.unique(pixels(window)[middle.top : middle.bottom, middle.left : middle.right])) > 50
    )
    click(window, (2, 2))
    assert not window.state.help
    assert wall_pixels(window).max() == 0
    click(window, strip_clickable(window, Action.HELP))
    assert window.state.help


def test_a_picture_is_saved_as_it_is_seen_and_never_over_another(make, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    window = make("red")
    window.step()
    press(window, Action.PATH, Action.SAVE)
    press(window, Action.PATH, Action.SAVE)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["small-0001.png", "small-0002.png"]
    with Image.open(tmp_path / "small-0002.png") as image:
        assert (np.asarray(image.convert("RGB")) == wall_pixels(window)).all()
    with Image.open(tmp_path / "small-0001.png") as image:
        assert (np.asarray(image.convert("RGB")) != wall_pixels(window)).any()
    assert window.screen._note == "saved small-0002.png"
    left = pixels(window)[window.screen.layout.strip.top :]
    assert (left == ACCENT).all(axis=2).any(), "the strip says so"
    window._clock.wait_until(10_000_000_000)
    window.step()
    assert not (pixels(window)[window.screen.layout.strip.top :] == ACCENT).all(axis=2).any()


def test_a_folder_that_cannot_be_written_to_is_said_in_the_strip(make, tmp_path, monkeypatch):
    gone = tmp_path / "gone"
    gone.mkdir()
    monkeypatch.chdir(gone)
    gone.rmdir()
    window = make("red")
    press(window, Action.SAVE)
    assert window.screen._note.startswith("not saved")
    monkeypatch.chdir(tmp_path)


@pytest.mark.slow
@pytest.mark.parametrize("size", [(900, 300), (400, 700), (200, 150), (30, 40)])
def test_a_resized_window_keeps_the_wall_s_proportions(make, size):
    window = make("red")
    window.step()
    press(window, Action.NUMBERS, Action.PATH)
    window.screen._glass.window.size = size
    window.step()
    assert window.screen.layout.window == size
    wall = window.screen.layout.wall
    assert abs(wall.height - wall.width / 2) <= 1
    window.step()
    press(window, Action.NUMBERS, Action.PATH)
    assert near(at_cell(window, 1, 1), (255, 0, 0), 60)
    for action in (Action.HELP, Action.LIST):
        press(window, action)


@pytest.mark.parametrize("event", [{"type": pygame.QUIT}, {"key": KEY_OF[Action.QUIT]}])
def test_closing_ends_run_and_frees_the_screen(make, event):
    window = make("red")
    window.step()
    pygame.event.post(pygame.event.Event(event.pop("type", pygame.KEYDOWN), **event))
    window.run()
    assert window.state.closed
    assert not pygame.display.get_init()
    window.close()


def test_run_draws_so_many_pictures_sixty_a_second(make):
    window = make("red")
    window.run(frames=60)
    assert len(window.bench.frames) == 60
    assert window._clock.now_ns() == pytest.approx(1e9, rel=1e-6)
    assert not pygame.display.get_init()


@pytest.mark.slow
def test_the_recording_does_not_grow_all_day(make):
    window = make("level")
    for _ in range(400):
        window._advance()
    assert len(window.bench.frames) <= 128


def test_an_interrupt_ends_run_and_frees_the_screen(make):
    window = make("red")

    def interrupted(time_s):
        raise KeyboardInterrupt

    window._sources["red"] = interrupted
    with pytest.raises(KeyboardInterrupt):
        window.run()
    assert not pygame.display.get_init()


def test_an_unknown_source_is_named_with_the_known_ones(make):
    with pytest.raises(UnknownNameError) as raised:
        make("gren")
    assert "green" in str(raised.value)
    assert raised.value.known == ("dark", "first", "green", "level", "red")


def test_without_a_screen_the_error_says_how_to_do_without(make, monkeypatch):
    monkeypatch.setenv("SDL_VIDEODRIVER", "no-such-driver")
    with pytest.raises(WindowError, match="memory:"):
        make("red")


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere there always is a screen")
def test_a_window_is_not_opened_where_nobody_sees_it(make, monkeypatch):
    for name in ("SDL_VIDEODRIVER", "DISPLAY", "WAYLAND_DISPLAY"):
        monkeypatch.delenv(name, raising=False)
    with pytest.raises(WindowError, match="no screen"):
        make("red")


def test_without_pygame_the_error_says_what_to_install():
    code = (
        "import sys; sys.modules['pygame'] = None\n"
        "from emulator.errors import WindowError\n"
        "try: import emulator.window\n"
        "except WindowError as error: print(error)\n"
    )
    ran = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        cwd=Path(__file__).parents[2],
        check=True,
    )
    assert "pip install pygame-ce" in ran.stdout
    assert "memory:" in ran.stdout
