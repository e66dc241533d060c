"""Faults of all stages together, drawn at random: each wall can be sent to, and solved."""

from __future__ import annotations

import numpy as np
import pytest

from emulator import Bench, chip, shorthand
from emulator.clock import SECOND_NS
from emulator.description.display import Display
from emulator.description.faults.kinds import KINDS
from emulator.description.sections import Grid
from emulator.light.wall import WallView

PARTS = ("WS2812B", "SK6812-RGBW", "WS2811-LOW", "APA102", "WS2801", "LPD8806", "WS2815")


def drawn_wall(rng):
    """A small wall of any part, on any lines, some with hidden LEDs."""
    rows, columns = int(rng.integers(1, 5)), int(rng.integers(1, 7))
    along = ("rows", "columns")[rng.integers(2)]
    lines = int(rng.integers(1, (rows if along == "rows" else columns) + 1))
    hidden = tuple(rng.integers(0, 2, 3).tolist()) if rng.random() < 0.4 else (0, 0, 0)
    gap = np.zeros((rows, columns), dtype=bool)
    wiring = shorthand(gap, "bottom-right", along, lines=lines, hidden=hidden)
    part = PARTS[rng.integers(len(PARTS))]
    return Display("wall", Grid(columns=columns, rows=rows), chip(part), wiring)


def drawn_faults(display, rng):
    """One to four faults of any kinds, at places that the wall has."""
    faults = []
    for name in rng.choice(list(KINDS), int(rng.integers(1, 5))):
        places = list(KINDS[name].everywhere(display))
        faults += [places[rng.integers(len(places))]] if places else []
    return faults


@pytest.mark.parametrize("seed", [*range(30), *(pytest.param(n, marks=pytest.mark.slow)
                                                for n in range(30, 600))])  # fmt: skip
def test_any_faults_together_leave_a_wall_that_can_be_calculated(seed):
    rng = np.random.default_rng(seed)
    display = drawn_wall(rng)
    faults = drawn_faults(display, rng)
    bench = Bench(display, faults=faults, waveform=bool(rng.random() < 0.3))
    for step in range(3):
        bench.clock.wait_until(step * SECOND_NS // 25)
        bench.send(rng.integers(0, 256, display.picture_shape, dtype=np.uint8))
    assert bench.drives.shape == (display.leds, len(display.chip.channels))
    assert np.isfinite(bench.light).all()
    assert bench.light.min() >= 0
    assert bench.power.rails.converged.all()
    assert -0.01 < bench.rail_volts().min() <= bench.rail_volts().max() < 13
    assert WallView(bench.display, 60).draw(bench.picture).shape[1] == 60
    assert len(bench.frames) == 3
