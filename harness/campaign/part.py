"""One part of a campaign: some walls under all patterns. It depends on nothing else."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from emulator.arrays import Bools, Bytes, Floats
from emulator.description.display import Display
from emulator.description.faults.built import Built
from emulator.description.faults.fault import Fault
from emulator.errors import UnsupportedError
from harness.campaign import restless, sagging
from harness.campaign.facts import Deviations, Hashes, Patched, deviations, patches_of
from harness.campaign.observe import Seen, makes, observe, of_walls
from harness.campaign.settled import Settled, Wall, loads_of, settle
from harness.campaign.watch import FLICKERS, OBSERVERS, Watch
from harness.patterns.pattern import ALL_PATTERNS, Pattern

_NOW_AND_THEN = np.uint64(0x9E3779B97F4A7C15)  # another wall than with the fault always there


@dataclass(frozen=True, eq=False)
class Trial:
    """What all parts share. patches: all that the faults have. loads_a: of `loads_of`."""

    display: Display
    patterns: tuple[Pattern, ...]
    patches: tuple[Patched, ...]
    loads_a: Floats
    watch: Watch

    def __reduce__(self) -> tuple[Any, ...]:
        # Patterns are functions, often without a name to import: their own names go instead.
        names = [pattern.name for pattern in self.patterns]
        for name, pattern in zip(names, self.patterns, strict=True):
            if name not in ALL_PATTERNS or ALL_PATTERNS[name] is not pattern:
                raise UnsupportedError(
                    f"the pattern '{name}' is not known to other processes",
                    fix="make it an entry point in foreglow.patterns, or run with one worker.",
                )
        return _trial, (self.display, names, self.patches, self.loads_a, self.watch)

    @classmethod
    def of(cls, display: Display, patterns: Sequence[Pattern], faults: Iterable[Fault]) -> Trial:
        """A trial of all these faults."""
        patches = patches_of(display, faults)
        loads_a = loads_of(display, patterns)
        return cls(display, tuple(patterns), patches, loads_a, Watch(display, patches))


def _trial(display: Display, names: list[str], *shared: Any) -> Trial:
    return Trial(display, tuple(ALL_PATTERNS[name] for name in names), *shared)


@dataclass(frozen=True, eq=False)
class Part:
    """Of F walls under P patterns, by observer: signatures (F, P), and makes (F,), which is equal
    for faults that make the same wall, and 0 if the wall is as planned."""

    signatures: dict[str, Hashes]
    makes: dict[str, Hashes]


def observe_part(trial: Trial, walls: Sequence[Wall]) -> Part:
    """What each observer sees of walls, each with its faults."""
    display, patterns, watch = trial.display, trial.patterns, trial.watch
    held: dict[int, Bools] = {}
    chance: dict[int, Settled] = {}
    sags: dict[int, Settled] = {}

    def built() -> Iterator[Built]:  # one by one: `deviations` keeps none of them
        for number, wall in enumerate(settle(display, walls, trial.loads_a)):
            if wall.manner == "now and then":
                held[number] = wall.holds
            elif wall.manner != "steady":
                (chance if wall.manner == "restless" else sags)[number] = wall
            yield wall.built

    facts = deviations(display, built(), trial.patches)
    placed = ~display.wiring.hidden
    made = {name: makes(facts, placed, light=True) for name in OBSERVERS}
    made["exact"] = makes(facts, np.ones_like(placed), light=False)
    signatures = {name: np.zeros((len(walls), len(patterns)), np.uint64) for name in OBSERVERS}
    changes = np.zeros(len(sags), dtype=np.bool_)
    for column, pattern in enumerate(patterns):
        seen = observe(display, pattern, facts, watch, held=bool(held))
        for name in OBSERVERS:
            signatures[name][:, column] = of_walls(facts, seen.signatures[name])
        for number, holds in held.items():
            for name, cells in _cells(facts, number, holds, seen).items():
                signatures[name][number, column] = watch.stretches(cells, FLICKERS)
        for number, wall in chance.items():
            for name, found in restless.play(display, wall, pattern, watch).items():
                signatures[name][number, column] = found
        if sags:
            of_sags, changed = sagging.play(display, [*sags.values()], pattern, watch)
            changes |= changed
            for name in OBSERVERS:
                signatures[name][[*sags], column] = of_sags[name]
    for name in OBSERVERS:
        for number in held:
            made[name][number] ^= _NOW_AND_THEN if made[name][number] else np.uint64(0)
        for number, wall in chance.items():
            shown = any(signatures[one][number].any() for one in OBSERVERS)
            made[name][number] = _key(str(wall.faults).encode()) if shown else 0
        for changed_, (number, wall) in zip(changes, sags.items(), strict=True):
            made[name][number] = _power_key(wall) ^ made[name][number] if changed_ else 0
            if wall.comes_and_goes and changed_:
                made[name][number] ^= _NOW_AND_THEN
    return Part(signatures, made)


def _cells(facts: Deviations, number: int, holds: Bools, seen: Seen) -> dict[str, Bools]:
    """The LEDs (N,) that ever differ while the faults of a wall come and go, by observer.

    holds: (N,) those that keep the picture before while the faults are there.
    """
    which = facts.which[facts.wall == number]
    position = facts.other.position[which]
    cells = {}
    for name in OBSERVERS:
        cells[name] = holds & seen.held[name]
        cells[name][position] |= seen.ever[name][which] & ~holds[position]
    return cells


def _power_key(wall: Settled) -> np.uint64:
    """Equal for walls whose LEDs get the same volts whatever they show."""
    network = wall.network
    assert network is not None
    # Which of the two conductors has the more ohms makes no difference to the LEDs.
    ground = network.ohm if network.ground_ohm is None else network.ground_ohm
    supplies: Bytes = np.frombuffer(str(network.power.supply).encode(), dtype=np.uint8)
    ohms = np.sort(np.stack([network.ohm, ground]), axis=0)
    least = np.float64(wall.built.least_v or 0.0)
    return _key(ohms.tobytes() + supplies.tobytes() + least.tobytes())


def _key(data: bytes) -> np.uint64:
    return np.uint64(int.from_bytes(hashlib.blake2b(data, digest_size=8).digest(), "little"))
