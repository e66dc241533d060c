from __future__ import annotations

import numpy as np
import pytest

from emulator import canvas, load_display
from emulator.power.network import build_network
from emulator.power.solve import solve_rails
from emulator.power.worst import uniform_drives, worst_frames
from tests.power.walls import wall

FOUR = """
[power]
supply = [{amps = 60}]
jumper = {awg = 18}
feed = [{led = 0}, {led = 191}, {led = 383}, {led = 575}]
"""
TWO = """
[power]
supply = [{amps = 15}, {amps = 15}]
feed = [{led = 0, supply = 0}, {led = 288, supply = 1}]
jumper = {awg = 18}
"""


def lowest_v(display, network, frames):
    return solve_rails(network, frames, display.chip, np.inf).led_volts.min()


def white_blocks(display, limit_a):
    """White on every stretch of LEDs in the order of the data that the limit allows."""
    white, dark = uniform_drives(display, 1.0)[0], uniform_drives(display, 0.0)[0]
    each_a = (canvas.current_a(white[None], display.chip)[0] - display.leds / 1000) / display.leds
    length = int((limit_a - display.leds * display.chip.dark_ma / 1000) / each_a)
    frames = []
    for first in range(0, display.leds - length + 1, 8):
        frame = dark.copy()
        frame[first : first + length] = white[first : first + length]
        frames.append(frame)
    return np.stack(frames)


@pytest.mark.parametrize(("power", "limit_a"), [(FOUR, 14.0), (FOUR, 6.0), (TWO, 9.0)])
def test_no_stretch_of_white_pulls_an_led_lower(power, limit_a):
    display = wall(24, 24, power)
    network = build_network(display)
    worst = lowest_v(display, network, worst_frames(display, network, limit_a))
    blocks = lowest_v(display, network, white_blocks(display, limit_a))
    assert worst <= blocks + 1e-6
    dimmed = canvas.limit_current(uniform_drives(display, 1.0), display.chip, limit_a)
    assert worst < lowest_v(display, network, dimmed)


def most_drop_v(network, each_a, light_a):
    """(N,) the most each LED can drop by any picture, where LEDs hold their current.

    Kirchhoff's laws as a dense matrix, and the limit spent on the largest entries of each row:
    the closed form of this linear program, the last LED lit in part.
    """
    laplace = np.zeros((network.nodes, network.nodes))
    for (a, b), ohm in zip(network.ends, network.ohm, strict=True):
        laplace[[a, b], [a, b]] += 1 / (2 * ohm)
        laplace[[a, b], [b, a]] -= 1 / (2 * ohm)
    free = np.delete(np.arange(network.nodes), network.terminals)
    ohm = np.linalg.inv(laplace[np.ix_(free, free)])[: network.leds, : network.leds]
    before_a = each_a * np.arange(network.leds)
    return np.sort(ohm, axis=1)[:, ::-1] @ np.clip(light_a - before_a, 0, each_a), ohm


@pytest.mark.parametrize("share", [0.03, 0.1, 0.33])
@pytest.mark.parametrize("part", ["WS2812B", "SK6812-RGBW", "APA102", "WS2815"])
def test_the_limit_is_spent_to_the_last_drive_step(part, share):
    power = "[power]\nfeed=[{led=0},{led=31},{led=63}]\njumper={awg=18}\n"
    display = wall(16, 4, power, part)
    network = build_network(display)
    leds, channel_a = display.leds, display.chip.channel_ma / 1000
    dark_a = leds * display.chip.dark_ma / 1000
    each_a = len(display.chip.channels.replace("I", "")) * channel_a
    light_a = share * leds * each_a
    frames = worst_frames(display, network, dark_a + light_a)
    used_a = canvas.current_a(frames[1:], display.chip)
    assert (used_a <= dark_a + light_a).all()
    assert (used_a > dark_a + light_a - channel_a / 255 - 1e-12).all()
    drop_v, ohm = most_drop_v(network, each_a, light_a)
    dark_v = ohm @ np.full(leds, display.chip.dark_ma / 1000)
    lowest = float((display.chip.volts - dark_v - drop_v).min())
    # Not every LED is tried: the worst of a neighbour may be slightly worse.
    near_v = 0.003 * (display.chip.volts - lowest) + ohm.max() * channel_a / 255
    assert lowest_v(display, network, frames) == pytest.approx(lowest, abs=near_v)


@pytest.mark.parametrize("name", ["foyer", "banner", "sign"])
def test_every_frame_keeps_the_limit(name):
    display = load_display(name)
    for share in (0.1, 0.5, 0.9):
        limit_a = share * float(canvas.current_a(uniform_drives(display, 1.0), display.chip)[0])
        frames = worst_frames(display, build_network(display), limit_a)
        assert (canvas.current_a(frames, display.chip) <= limit_a + 1e-9).all()


def test_without_a_limit_or_above_full_white_it_is_full_white():
    display = wall(6, 2)
    network = build_network(display)
    for limit_a in (None, 100.0):
        assert (worst_frames(display, network, limit_a) == 255).all()
        assert len(worst_frames(display, network, limit_a)) == 1
