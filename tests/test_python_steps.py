"""On the path of a frame, numpy does what is done for each LED, bit and run; Python does not.

A trace counts the calls and lines that Python executes. A line is counted again in each turn of a
loop, so a loop over LEDs, bits or runs makes a larger wall take more of them.
"""

from __future__ import annotations

import contextlib
import itertools
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from emulator import Bench, DiskRecorder, Display, SimulatedClock, parse_display
from emulator.light.figures import figures
from emulator.light.wall import WallView
from emulator.ports.e131.packing import Packing
from emulator.ports.e131.receiver import Receiver
from emulator.ports.e131.sender import Sender
from emulator.power.fusing import spread_frames, wire_peaks
from emulator.power.network import build_network
from emulator.power.solve import solve_rails
from emulator.window import WallWindow
from harness.patterns.sources import all_sources
from harness.subject.subject import own_code
from harness.subject.trial import Trial

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


def judged(display: Display) -> Work:
    trial, shown = Trial(display, own_code(display)), picture(display)
    return lambda: trial.show([shown])


def fed(display: Display) -> Work:
    bench, shown = Bench(display, powered=True), picture(display)

    def work() -> None:
        bench.send(shown)
        assert bench.light.any()

    return work


def figured(display: Display) -> Work:
    return lambda: figures(display)


PATHS: dict[str, tuple[Callable[[Display], Work], str]] = {
    "picture to latch": (lambda d: sending(d, waveform=False), "WS2812B"),
    "picture to latch, clocked chip": (lambda d: sending(d, waveform=False), "APA102"),
    "picture over edges to latch": (lambda d: sending(d, waveform=True), "WS2812B"),
    "picture over edges to latch, clocked chip": (lambda d: sending(d, waveform=True), "APA102"),
    "stack of frames": (stacked, "WS2812B"),
    "light of the cells": (seen, "WS2812B"),
    "picture of a check": (judged, "WS2812B"),
    "picture with power to light": (fed, "WS2812B"),
    "figures of the front": (figured, "WS2812B"),
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


def test_a_frame_to_disk_takes_no_more_steps_on_a_larger_wall(tmp_path):
    def recorded(side: int) -> int:
        display = wall(side)
        drives, times_ns = np.zeros((display.leds, 3), np.uint8), itertools.count()
        with DiskRecorder(tmp_path / str(side), display) as recorder:
            return python_steps(lambda: recorder.append(next(times_ns), drives))

    assert 0 < recorded(LARGE) <= recorded(SMALL)


def test_the_most_current_of_each_wire_takes_more_with_the_logarithm_of_the_leds_only():
    def wires(side: int) -> Work:
        display = wall(side)
        network, lit = build_network(display), spread_frames(display)
        return lambda: wire_peaks(display, network, lit, None)

    small, large = python_steps(wires(SMALL)), python_steps(wires(LARGE))
    assert 0 < large < small * 10 / 6 * 1.2  # as for the rails


def test_a_window_takes_more_steps_with_the_logarithm_of_the_leds_only(monkeypatch):
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")

    def playing(side: int) -> int:
        display, clock = wall(side), SimulatedClock()
        window = WallWindow(
            display, all_sources(display), "scene aurora",
            real_time=False, pixels_wide=320, clock=clock,
        )  # fmt: skip
        with contextlib.closing(window):
            return python_steps(window.step)

    small, large = playing(SMALL), playing(LARGE)  # rails, and nothing else that grows
    assert 0 < large < small * 10 / 6 * 1.2


def universes_out(display: Display) -> Work:
    sender = Sender(Packing.of(display), bytes(16), "steps")
    drives = np.random.default_rng(1).integers(0, 256, (display.leds, 3), np.uint8)
    return lambda: sender.frame(drives)


def universes_in(display: Display) -> Work:
    packing = Packing.of(display)
    receiver, sender = Receiver(packing), Sender(packing, bytes(16), "steps")
    drives, times_ns = np.full((display.leds, 3), 9, np.uint8), itertools.count(0, 40_000_000)
    rounds = iter([sender.frame(drives) for _ in range(2)])  # each with numbers of its own

    def work() -> None:
        now_ns = next(times_ns)
        frames = [f for sent in next(rounds) for f in receiver.receive(sent.payload, now_ns)]
        assert len(frames) == 1

    return work


@pytest.mark.parametrize("make", [universes_out, universes_in])
def test_e131_takes_steps_for_universes_and_none_for_leds(make):
    few, full = python_steps(make(wall(3))), python_steps(make(wall(12)))
    assert 0 < full <= few  # 9 and 144 LEDs, one universe
    seven = python_steps(make(wall(LARGE)))
    assert few < seven < few * (7 + 1)  # 1,024 LEDs, 170 a universe; a packet that shows them all


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
