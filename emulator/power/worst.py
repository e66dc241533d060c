"""The pictures that load the wires worst, within a current limit.

A limit lets the whole wall be dimly white, or a part of it fully: on one supply, at the end of
one strip. The part that pulls an LED down most is found from the network itself. The drop that
one LED lit alone causes at every other is, by reciprocity, the drop each of them causes at it;
so the limit is spent on the LEDs that weigh most. Where LEDs hold their current this is the
worst there is for that LED; the LEDs tried are the lowest ones of the lowest runs.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from emulator.canvas import current_a, limit_current
from emulator.description.display import Display
from emulator.power.network import Network
from emulator.power.solve import Bytes, solve_rails

_MOST_TRIED = 24  # LEDs, at most one a run


def uniform_drives(display: Display, level: float) -> Bytes:
    """One frame (1, N, C) with every channel of every LED at `level` 0…1; intensity full."""
    channels = display.chip.channels
    drives = np.full((1, display.leds, len(channels)), round(255 * level), dtype=np.uint8)
    if "I" in channels:
        drives[..., channels.index("I")] = 31
    return drives


def worst_frames(display: Display, network: Network, limit_a: float | None) -> Bytes:
    """(K, N, C): full white, or within a limit white dimmed to it and white on the worst parts."""
    chip, white, dark = display.chip, uniform_drives(display, 1.0), uniform_drives(display, 0.0)
    white_a, dark_a = float(current_a(white, chip)[0]), float(current_a(dark, chip)[0])
    if limit_a is None or limit_a >= white_a:
        return white
    held = solve_rails(network, white, chip, np.inf).led_volts[0]
    run = display.wiring.run
    lowest = np.array([members[held[members].argmin()] for members in _by_run(run)])
    tried = lowest[np.argsort(held[lowest], kind="stable")[:_MOST_TRIED]]
    alone = np.repeat(dark, len(tried) + 1, axis=0)  # the last stays dark
    alone[np.arange(len(tried)), tried] = white[0, tried]
    volts = solve_rails(network, alone, chip, np.inf).led_volts
    drop = volts[-1] - volts[:-1]  # (K, N): of one LED on all, so of all on one
    count = max(int((limit_a - dark_a) / ((white_a - dark_a) / display.leds)), 0)
    heaviest_first = np.argsort(-drop, axis=1, kind="stable")[:, :count]
    parts = np.repeat(dark, len(tried), axis=0)
    for frame, chosen in zip(parts, heaviest_first, strict=True):
        frame[chosen] = white[0, chosen]
    return np.concatenate([limit_current(white, chip, max(limit_a, dark_a + 1e-9)), parts])


def _by_run(run: NDArray[np.int64]) -> list[NDArray[np.int64]]:
    """Positions of the LEDs of each run."""
    return np.split(np.arange(run.size), np.flatnonzero(np.diff(run)) + 1)
