"""Walls on which chance decides what arrives, played on a bench.

Each pattern begins as the wall does at power-on. Each of its pictures, or an even choice of them,
is sent several times. What differs from the plan flickers, unless it only ever stays dark.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from emulator.bench import Bench
from emulator.clock import SimulatedClock
from emulator.description.display import Display
from harness.campaign.settled import Settled
from harness.campaign.watch import (
    DARK_ALWAYS,
    FLICKERS,
    Shown,
    Watch,
    sent_drives,
    went_dark,
)
from harness.patterns.pattern import Pattern

_MOST_PICTURES = 24  # of each pattern
_SENDS = 2  # of each picture


def play(
    display: Display, wall: Settled, pattern: Pattern, watch: Watch
) -> Mapping[str, np.uint64]:
    """The signature of each observer."""
    steps = pattern.steps(display)
    chosen = np.unique(np.linspace(0, steps - 1, min(steps, _MOST_PICTURES)).astype(np.int64))
    pictures = np.stack([pattern.draw(display, step) for step in chosen.tolist()])
    bench = Bench(display, SimulatedClock(), faults=wall.there)
    for picture in pictures:
        starts_ns = bench.clock.now_ns()
        for send in range(1, _SENDS + 1):
            bench.send(picture)
            at_ns = starts_ns + send * pattern.hold_ms * 1_000_000 // _SENDS
            bench.clock.wait_until(max(at_ns, bench.clock.now_ns()))
    planned = watch.planned(np.repeat(sent_drives(pictures, display), _SENDS, axis=0))
    glow = wall.built.glow.astype(np.float32)
    none = np.zeros(display.leds, dtype=np.int64)
    shown = Shown(bench.frames, watch.eye.light(bench.frames, glow), watch.all_on, none)
    dark = went_dark(planned, shown)
    found = {}
    for name, differs in watch.differences(planned, shown, np.arange(display.leds)).items():
        ever = (differs != 0).any(axis=0)
        lit = (planned.light[..., 1] > 0) if name != "exact" else planned.drives.any(axis=2)
        never = ever & (dark | ~lit).all(axis=0) & ~((differs != 0) & ~dark).any(axis=0)
        found[name] = watch.stretches(ever & ~never, FLICKERS) ^ watch.stretches(never, DARK_ALWAYS)
    return found
