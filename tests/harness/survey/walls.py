"""The walls that the survey is tried on, and random faults of them."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from emulator import load_display, parse_display
from emulator.description.faults.kinds import KINDS

HALL = """[grid]
columns = 16
rows = 9
[chip]
part = "WS2812B"
[wiring]
lines = 3
"""
WALLS = ("foyer", "banner", "hall")
STAGES = ("wiring", "strip")


def wall(name):
    return parse_display(HALL, Path("hall.toml")) if name == "hall" else load_display(name)


def kinds(stages=STAGES):
    return [name for name, kind in KINDS.items() if kind.stage in stages]


def random_fault(kind, display, rng):
    """A fault of a kind at a random place, also at places that the campaign does not try; None if
    the display can have none."""
    every = [*KINDS[kind].everywhere(display)]
    if not every:
        return None
    fault = every[rng.integers(len(every))]
    if rng.random() < 0.5 and kind in ("run-short", "run-long"):
        other = fault.model_copy(update={"leds": int(rng.integers(2, 5))})
    elif rng.random() < 0.5 and kind in ("other-chip", "other-batch"):
        leds = display.wiring.line_lengths[fault.line]
        first, last = sorted(rng.choice(leds, 2, replace=False).tolist())
        other = fault.model_copy(
            update={"first": first, "last": max(last, min(first + 5, leds - 1))}
        )
    else:
        return fault
    return fault if any(other.judge(display)) else other


def telephone(display, rng):
    """(rows, columns) light that reaches a camera: dark corners, and one side nearer."""
    y, x = np.meshgrid(
        np.linspace(-1, 1, display.grid.rows), np.linspace(-1, 1, display.grid.columns),
        indexing="ij",
    )  # fmt: skip
    corners = 1 / (1 + rng.uniform(0, 0.5) * (x**2 + y**2)) ** 2  # cos⁴ of a wide lens
    return corners * (1 + rng.uniform(-0.4, 0.4) * x + rng.uniform(-0.3, 0.3) * y)
