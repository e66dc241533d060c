"""The output on the screen, on SDL's dummy screen and a clock that tests set."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pygame
import pytest

from emulator import FrameError, PictureError, SimulatedClock, open_output, parse_display
from emulator.errors import OutputClosedError
from emulator.ports.address import AddressError
from emulator.ports.window import WindowOutput
from emulator.view.controls import Action
from emulator.window.keys import ACTION_OF_KEY
from emulator.window.opening import Glass
from harness.cli.run import on_full_screen

KEY_OF = {action: key for key, action in ACTION_OF_KEY.items()}
LEDS = 12
# 24 bits an LED at 1.25 µs a bit (800 kbit/s) and a reset of at least 280 µs (WS2812B-V5
# datasheet, from memory).
WIRE_NS = LEDS * 24 * 1_250


class ScriptedClock(SimulatedClock):
    """Does what a user does at given times: [(time in ns, pygame event)]."""

    def __init__(self, *script):
        super().__init__()
        self.script = sorted(script, key=lambda entry: entry[0])
        self.waits = 0

    def wait_until(self, time_ns):
        self.waits += 1
        assert self.waits < 100_000, "it waits for ever"
        super().wait_until(time_ns)
        while self.script and self.script[0][0] <= self.now_ns():
            pygame.event.post(self.script.pop(0)[1])


def key(action):
    return pygame.event.Event(pygame.KEYDOWN, key=KEY_OF[action])


CLOSE = pygame.event.Event(pygame.QUIT)


TEXT = """
[grid]
columns = 4
rows = 3
[chip]
part = "WS2812B-V5"
[wiring]
lines = 1
[cover]
depth_mm = 5
"""


@pytest.fixture
def display():
    return parse_display(TEXT, Path("small.toml"))


@pytest.fixture
def opened(display, monkeypatch):
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    made = []

    def output(*script):
        made.append(WindowOutput(display, pixels_wide=400, clock=ScriptedClock(*script)))
        return made[-1]

    yield output
    for each in made:
        each.close()


def red(display):
    picture = np.zeros(display.picture_shape, np.uint8)
    picture[0, 0] = (255, 0, 0)
    return picture


def at_cell(output, column, row):
    return tuple(output.screen.surface.get_at(output.screen.layout.cell(column, row).center))


def test_send_takes_wire_time_and_reset_and_shows_the_picture(opened, display):
    output = opened()
    sent = output.send(red(display))
    assert sent.wire_ns == pytest.approx(WIRE_NS, rel=0.05)
    assert output.bench.clock.now_ns() == sent.ready_ns >= sent.starts_ns + sent.wire_ns + 280_000
    pygame.event.clear()
    output.bench.clock.wait_until(sent.latched_ns + 20_000_000)
    output.pump()
    assert at_cell(output, 0, 0)[0] > 200
    assert at_cell(output, 3, 2)[:3] == (0, 0, 0)


def test_bytes_in_wire_order_show_as_the_chips_latch_them(opened, display):
    output = opened()
    # GRB on the wire (WS2812B datasheet): LED 1 green.
    sent = output.send_frame(bytes([0, 0, 0, 255, 0, 0]) + bytes(30) + b"more")
    assert sent.bytes_over == 4
    assert output.bench.drives[1].tolist() == [0, 255, 0]


def test_open_output_opens_a_window_in_real_time(display, monkeypatch):
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    with open_output("window:", display) as output:
        assert isinstance(output, WindowOutput)
        sent = output.send(red(display))
        assert output.bench.clock.now_ns() >= sent.ready_ns
        assert pygame.display.get_init()
    assert not pygame.display.get_init()


@pytest.mark.slow
def test_it_draws_at_most_sixty_times_a_second(opened, display, monkeypatch):
    drawn, made = [], []

    class CountedWindow(pygame.Window):
        def flip(self):
            super().flip()
            drawn.extend(output.bench.clock.now_ns() for output in made)

    monkeypatch.setattr(pygame, "Window", CountedWindow)
    made.append(opened())
    output = made[0]
    pictures = [red(display), np.zeros(display.picture_shape, np.uint8)]
    while output.bench.clock.now_ns() < 250_000_000:
        output.send(pictures[0])
        pictures.reverse()
    assert len(output.bench.frames) >= 200
    assert 12 <= len(drawn) <= 15
    assert np.diff(drawn).min() >= 1_000_000_000 // 60


def test_a_pause_holds_send_back_and_going_on_lets_it_go(opened, display):
    output = opened((0, key(Action.PAUSE)), (2_000_000_000, key(Action.PAUSE)))
    output.send(red(display))
    sent = output.send(red(display))
    assert 2_000_000_000 <= sent.starts_ns < 2_100_000_000
    assert len(output.bench.frames) == 2
    assert output.send(red(display)).starts_ns < 2_100_000_000


def test_a_single_step_lets_one_picture_through(opened, display):
    output = opened(
        (0, key(Action.PAUSE)),
        (1_000_000_000, key(Action.STEP)),
        (3_000_000_000, key(Action.STEP)),
        (4_000_000_000, key(Action.PAUSE)),
    )
    output.send(red(display))
    starts = [output.send(red(display)).starts_ns // 1_000_000_000 for _ in range(4)]
    assert starts == [1, 3, 4, 4]


def test_closing_while_a_pause_holds_send_back_ends_it(opened, display):
    output = opened((0, key(Action.PAUSE)), (1_000_000_000, CLOSE))
    output.send(red(display))
    with pytest.raises(OutputClosedError) as raised:
        output.send(red(display))
    assert "'small'" in str(raised.value)
    assert "Fix:" in str(raised.value)
    assert not pygame.display.get_init()


@pytest.mark.parametrize("event", [CLOSE, key(Action.QUIT)], ids=["button", "key"])
def test_a_frame_on_the_wire_is_finished_and_the_next_send_says_closed(opened, display, event):
    output = opened((WIRE_NS // 2, event))
    sent = output.send(red(display))
    assert sent.latched_ns > WIRE_NS
    assert output.bench.drives[0].tolist() == [255, 0, 0]
    for send in (lambda: output.send(red(display)), lambda: output.send_frame(bytes(36))):
        with pytest.raises(OutputClosedError):
            send()
    assert len(output.bench.frames) == 1, "the recording stays readable"


def test_after_close_nothing_is_sent_and_a_second_close_does_nothing(opened, display):
    output = opened()
    output.close()
    output.close()
    assert not pygame.display.get_init()
    with pytest.raises(OutputClosedError):
        output.send(red(display))


def test_wrong_pictures_and_bytes_are_refused_and_the_window_stays(opened, display):
    output = opened()
    with pytest.raises(PictureError):
        output.send(np.zeros((3, 3, 3), np.uint8))
    with pytest.raises(FrameError):
        output.send_frame("red")
    output.send(red(display))
    assert len(output.bench.frames) == 1


def test_keys_of_the_view_work_and_those_of_foreglow_view_alone_do_not(opened, display):
    output = opened(
        (0, key(Action.NUMBERS)),
        (1, key(Action.PATH)),
        (2, key(Action.TIME)),
        (3, key(Action.LIST)),
    )
    output.send(red(display))
    output.send(red(display))
    state = output.state
    assert (state.numbers, state.path, state.real_time, state.listing) == (True, True, True, False)


@pytest.mark.slow
def test_the_recording_does_not_grow_all_day(opened, display):
    output = opened()
    for _ in range(600):
        output.bench.send(red(display))
    assert len(output.bench.frames) <= 512


def test_frames_that_overrun_a_frame_of_the_display_are_counted(monkeypatch):
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    # 12 LEDs take 12 · 24 · 1.25 µs = 0.36 ms and a reset of at least 0.28 ms (WS2812B-V5
    # datasheet, from memory): 1000 frames/s leave 1 ms, 2000 only 0.5 ms.
    for rate, overran in ((1000, 0), (2000, 3)):
        display = parse_display(TEXT + f"[controller]\nframe_rate = {rate}\n", Path("small.toml"))
        with WindowOutput(display, pixels_wide=400, clock=ScriptedClock()) as output:
            for _ in range(3):
                output.send(red(display))
            assert (output._early, output._overran) == (0, overran)


def test_frames_that_come_before_the_reset_time_is_over_are_counted(opened, display):
    output = opened()
    output.send(red(display))
    output.bench.send_frame(bytes(36), hold_ns=0)
    output.send(red(display))
    assert output._early == 1


def test_it_starts_with_the_view_of_the_display_file_and_its_keys_change_it(monkeypatch):
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    text = TEXT + "[view]\ndistance_m = 2\nambient_lx = 500\n"
    display = parse_display(text, Path("small.toml"))
    keys = [(0, key(Action.FARTHER)), (0, key(Action.DARKER)), (0, key(Action.INSTRUMENTS))]
    with WindowOutput(display, pixels_wide=400, clock=ScriptedClock(*keys)) as output:
        output.send(np.zeros(display.picture_shape, np.uint8))
        output.bench.clock.wait_until(100_000_000)
        output.pump()
        assert (output.state.viewing.distance_m, output.state.viewing.ambient_lx) == (3.0, 200.0)
        assert not output.state.instruments
        red_level, green, blue = at_cell(output, 1, 1)[:3]
        assert red_level == green == blue > 10, "grey in the light around"


def test_a_window_on_the_full_screen_shows_the_wall_alone(display, monkeypatch):
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    calls = []
    real = Glass.fill_screen
    monkeypatch.setattr(Glass, "fill_screen", lambda glass: (calls.append(True), real(glass)))
    for text, wanted in (("window:", []), ("window:?full-screen=yes", [True])):
        with open_output(text, display) as output:
            assert calls == wanted
            assert output.state.instruments == (not wanted)
    with pytest.raises(AddressError, match="Fix:"):
        open_output("window:?full-screen=maybe", display)


def test_run_asks_for_the_full_screen_of_windows_only():
    assert on_full_screen("window:") == "window:?full-screen=yes"
    assert on_full_screen("window:?full-screen=no") == "window:?full-screen=no"
    assert on_full_screen("memory:") == "memory:"
