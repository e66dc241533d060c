"""Every wall with its fault under one pattern: a signature of what is seen.

A signature is a sum over pictures and LEDs of what differs from the plan, times random numbers of
64 bits. It is 0 where nothing differs. Two walls that differ share one with a probability below
2^-50, so equal signatures are taken for equal observations, and no frames are kept.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from emulator.arrays import Bools, Bytes
from emulator.canvas import limit_current, to_drives
from emulator.description.display import Display
from emulator.signal.framing import in_order
from harness.campaign.eye import Eye
from harness.campaign.facts import Deviations, Hashes, LedFacts, drives_of, hashes
from harness.patterns.pattern import Pattern

_AT_ONCE = 1 << 18  # LEDs × pictures in memory
_PICTURES = 64


@dataclass(frozen=True, eq=False)
class Signatures:
    """Of F faults, uint64 (F,) each; 0: nothing differs from the wall as planned.

    exact: the drives that all LEDs show. eye: what a person sees (`harness.campaign.eye`).
    """

    exact: Hashes
    eye: Hashes


def observe(display: Display, pattern: Pattern, walls: Deviations, eye: Eye) -> Signatures:
    """The signatures of all walls under a pattern; each picture is shown until all have it."""
    other = walls.other
    steps = pattern.steps(display)
    exact, seen = (np.zeros(len(other.position), dtype=np.uint64) for _ in range(2))
    for first in range(0, steps, _PICTURES):
        pictures = pattern.pictures(display, first, min(first + _PICTURES, steps))
        sent = sent_drives(pictures, display)
        data = in_order(sent, display.chip.to_wire).reshape(len(sent), -1)
        drives = drives_of(walls.planned, data, display)
        light = eye.light(drives)
        rng = np.random.default_rng(first)
        weights = rng.integers(0, 1 << 64, drives.shape, dtype=np.uint64)
        size = max(_AT_ONCE // len(sent), 1)
        for begin in range(0, len(other.position), size):
            part = slice(begin, begin + size)
            facts = LedFacts(other.position[part], other.source[part], other.added[part],
                             other.glow[part], other.patch[part])  # fmt: skip
            at = facts.position
            shown = drives_of(facts, data, display)
            differs = shown.astype(np.uint64) - drives[:, at]
            exact[part] += (differs * weights[:, at]).sum(axis=(0, 2), dtype=np.uint64)
            symbols = eye.symbols(light[:, at], eye.light(shown, facts.glow), at, facts.patch)
            seen[part] += (symbols * weights[:, at, 0]).sum(axis=0, dtype=np.uint64)
    return Signatures(_of_walls(walls, exact), _of_walls(walls, seen))


def sent_drives(pictures: Bytes, display: Display) -> Bytes:
    """Drives (T, N, C) of pictures (T, rows, columns, 3), under the limit of the display file."""
    drives = to_drives(pictures, display)
    if display.power.limit_a is not None:
        drives = limit_current(drives, display.chip, display.power.limit_a)
    return drives


def makes(walls: Deviations, counts: Bools, light: bool) -> Hashes:
    """uint64 (F,): equal for faults that make the same wall, whatever is sent; 0: as planned.

    counts: (N,) the LEDs that count. light: whether the light for the same drive counts, too.
    """
    planned, other = (hashes(facts.rows(light)) for facts in (walls.planned, walls.other))
    at = walls.other.position
    return _of_walls(walls, np.where(counts[at], other - planned[at], np.uint64(0)))


def _of_walls(walls: Deviations, each: Hashes) -> Hashes:
    """(F,) sums over the LEDs of each wall of a number for each LED (U,)."""
    total = np.zeros(walls.faults, dtype=np.uint64)
    np.add.at(total, walls.fault, each[walls.which])
    return total
