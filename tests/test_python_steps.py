"""On the path of a frame, numpy does what is done for each LED, bit and run; Python does not.

A trace counts the calls and lines that Python executes. A line is counted again in each turn of a
loop, so a loop over LEDs, bits or runs makes a larger wall take more of them.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from emulator import Bench, Display, parse_display
from emulator.light.wall import WallView
from emulator.power.network import build_network
from emulator.power.solve import solve_rails

SMALL, LARGE = 8, 32  # cells a side: 16 times as many LEDs, four times as many runs

Work = Callable[[], object]


def wall(side: int, part: str = "WS2812B") -> Display:
    text = f"[grid]\ncolumns={side}\nrows={side}\n[chip]\npart='{part}'\n[wiring]\n"
    return parse_display(f"{text}[power]\nlimit_a={0.02 * side * side}\n", Path("wall.toml"))


def picture(display: Display) -> np.ndarray:
    return np.random.default_rng(1).integers(0, 256, display.picture_shape, np.uint8)


def sending(display: Display, waveform: bool) -> Work:
    bench, shown = Bench(display, waveform=waveform), picture(display)
    return lambda: bench.send(shown)


def stacked(display: Display) -> Work:
    bench = Bench(display)
    data = np.random.default_rng(1).integers(0, 256, (8, 3 * display.leds), np.uint8)
    return lambda: bench.send_frames(data, 40_000_000)


def seen(display: Display) -> Work:
    bench, shown = Bench(display), picture(display)
    bench.send(shown)
    return lambda: bench.light


def drawn(display: Display) -> Work:
    view = WallView(display, 256)
    lit = np.random.default_rng(1).random(display.picture_shape).astype(np.float32)
    return lambda: view.draw(lit)


PATHS: dict[str, tuple[Callable[[Display], Work], str]] = {
    "picture to latch": (lambda d: sending(d, waveform=False), "WS2812B"),
    "picture to latch, clocked chip": (lambda d: sending(d, waveform=False), "APA102"),
    "picture over edges to latch": (lambda d: sending(d, waveform=True), "WS2812B"),
    "picture over edges to latch, clocked chip": (lambda d: sending(d, waveform=True), "APA102"),
    "stack of frames": (stacked, "WS2812B"),
    "light of the cells": (seen, "WS2812B"),
}


def python_steps(work: Work) -> int:
    """Calls and lines of Python in one run of the work; what it keeps is already there."""
    work()
    count = 0

    def trace(frame: object, event: str, arg: object) -> Callable[..., object]:
        nonlocal count
        count += event in ("call", "line")
        return trace

    before = sys.gettrace()
    sys.settrace(trace)
    try:
        work()
    finally:
        sys.settrace(before)
    return count


@pytest.mark.parametrize("name", PATHS)
def test_a_larger_wall_takes_no_more_steps_of_python(name):
    make, part = PATHS[name]
    small, large = (python_steps(make(wall(side, part))) for side in (SMALL, LARGE))
    assert 0 < large <= small


def test_a_screen_takes_fewer_steps_more_than_there_are_rows_of_cells_more():
    # Blocks of rows of pixels stay as many; far light is summed in halvings of the cells.
    small, large = (python_steps(drawn(wall(side))) for side in (24, 96))
    assert 0 < large < small + (96 - 24)


def test_the_rails_take_more_steps_with_the_logarithm_of_the_leds_only():
    def rails(side: int) -> Work:
        display = wall(side)
        network = build_network(display)
        lit = np.full((1, display.leds, 3), 40, np.uint8)  # no channel lacks volts
        return lambda: solve_rails(network, lit, display.chip, np.inf)

    small, large = python_steps(rails(SMALL)), python_steps(rails(LARGE))
    assert 0 < large < small * 10 / 6 * 1.2  # 1,024 and 64 LEDs: 10 and 6 halvings; ends differ


def test_the_trace_sees_a_loop_that_calls_nothing():
    def looping(leds: int) -> Work:
        def work() -> int:
            total = 0
            for led in range(leds):
                total += led
            return total

        return work

    assert python_steps(looping(1024)) > python_steps(looping(64)) + 900
    assert python_steps(lambda: [led for led in range(1024)]) > 1000  # noqa: C416
