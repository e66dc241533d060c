"""Walls that their facts describe, under one pattern: the signatures of what observers see."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from emulator.arrays import Bools
from emulator.description.display import Display
from harness.campaign.facts import Deviations, Hashes, drives_of, hashes
from harness.campaign.watch import OBSERVERS, Shown, Watch, data_of, sent_drives
from harness.patterns.pattern import Pattern

_AT_ONCE = 1 << 18  # LEDs × pictures in memory


@dataclass(frozen=True, eq=False)
class Seen:
    """What observers see of LEDs under a pattern, by observer.

    signatures: uint64 (U,) of each LED that deviates. ever: (U,) whether it ever differs. held:
    (N,) whether a planned LED would ever differ if it kept what it showed in the picture before;
    the pattern repeats.
    """

    signatures: dict[str, Hashes]
    ever: dict[str, Bools]
    held: dict[str, Bools]


def observe(
    display: Display, pattern: Pattern, walls: Deviations, watch: Watch, held: bool = False
) -> Seen:
    """What is seen under a pattern; each picture is shown until all LEDs have it.

    held: whether to look at LEDs that keep the picture before; else `Seen.held` is all False.
    """
    other = walls.other
    steps = pattern.steps(display)
    signatures = {name: np.zeros(len(other.position), dtype=np.uint64) for name in OBSERVERS}
    ever = {name: np.zeros(len(other.position), dtype=np.bool_) for name in OBSERVERS}
    kept = {name: np.zeros(display.leds, dtype=np.bool_) for name in OBSERVERS}
    before = None
    if held and steps > 1:
        before = sent_drives(pattern.pictures(display, steps - 1), display)
    for first, pictures in pattern.in_blocks(display):
        sent = sent_drives(pictures, display)
        data = data_of(sent, display)
        planned = watch.planned(drives_of(walls.planned, data, display))
        rng = np.random.default_rng(first)
        weights = rng.integers(0, 1 << 64, planned.drives.shape[:2], dtype=np.uint64)
        if before is not None:
            late = watch.planned(np.concatenate([before, planned.drives[:-1]]))
            before = planned.drives[-1:]
            for name, found in watch.differences(planned, late, np.arange(display.leds)).items():
                kept[name] |= found.any(axis=0)
        size = max(_AT_ONCE // len(sent), 1)
        for begin in range(0, len(other.position), size):
            part = slice(begin, begin + size)
            facts = other.some(part)
            at = facts.position
            drives = drives_of(facts, data, display)
            on = watch.eye.light(drives_of(facts, watch.white_data, display), facts.glow)[0, :, 1]
            shown = Shown(drives, watch.eye.light(drives, facts.glow), on, facts.patch)
            should = Shown(planned.drives[:, at], planned.light[:, at], on, facts.patch)
            for name, found in watch.differences(should, shown, at).items():
                signatures[name][part] += (found * weights[:, at]).sum(axis=0, dtype=np.uint64)
                ever[name][part] |= found.any(axis=0)
    return Seen(signatures, ever, kept)


def makes(walls: Deviations, counts: Bools, light: bool) -> Hashes:
    """uint64 (F,): equal for faults that make the same wall, whatever is sent; 0: as planned.

    counts: (N,) the LEDs that count. light: whether the light for the same drive counts, too.
    """
    planned, other = (hashes(facts.rows(light)) for facts in (walls.planned, walls.other))
    at = walls.other.position
    return of_walls(walls, np.where(counts[at], other - planned[at], np.uint64(0)))


def of_walls(walls: Deviations, each: Hashes) -> Hashes:
    """(F,) sums over the LEDs of each wall of a number for each LED (U,)."""
    total = np.zeros(walls.walls, dtype=np.uint64)
    np.add.at(total, walls.wall, each[walls.which])
    return total
