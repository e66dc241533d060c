"""The walls that the survey is tried on, and random faults of them."""

from __future__ import annotations

from pathlib import Path

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
