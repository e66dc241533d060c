"""What each LED takes from the wire and gives as light, for many walls with faults.

What an LED shows depends on its own facts alone: which bytes it takes, and what it makes of them.
So a fault is the set of LEDs whose facts are not as planned. Many faults share such LEDs: 10,000
faults of 576 LEDs change millions of LEDs in some ten thousand ways. Only these are looked at.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import NamedTuple, Self

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bools, Ints
from emulator.chain import Known, by_led, full_drives, stacked
from emulator.description.display import Display
from emulator.description.faults.built import Built, Patch, as_built
from emulator.description.faults.fault import Fault

# In place of the number of a byte: a channel that is dark; lit fully; or reads each bit as 1.
DARK, FULL, ONES = -1, -2, -3

Hashes = NDArray[np.uint64]
Look = tuple[float, bool, tuple[float, float]]  # of a patch: share, bare, off_mm

_AT_ONCE = 1 << 17  # LEDs whose tables are in memory
_GLOW = 1 << 20  # steps of 1 in which light is compared


@dataclass(frozen=True, eq=False)
class LedFacts:
    """The facts of U LEDs. C channels in the order of drives, L of them give light.

    position: (U,) number of the LED as planned. source: (U, C) the byte that a channel shows, of
    the LED bytes of all lines in a row; or DARK, FULL, ONES. A byte of an LED without a
    cell is DARK: pictures leave it at 0. added: (U, C) a byte that is added to it; DARK: none.
    glow: (U, L) light for the same drive, 1 as planned. patch: (U,) 1 + the number of the patch
    (`patches_of`) before its cell; 0: none.
    """

    position: Ints
    source: Ints
    added: Ints
    glow: NDArray[np.float32]
    patch: Ints

    def some(self, part: slice) -> Self:
        """The facts of some of the LEDs."""
        return type(self)(
            self.position[part], self.source[part], self.added[part], self.glow[part],
            self.patch[part],
        )  # fmt: skip

    def rows(self, light: bool) -> Ints:
        """(U, …) position, source and added, and with `light` glow and patch, as whole numbers."""
        columns = [self.position[:, None], self.source, self.added]
        if light:
            lights = self.glow.shape[1]
            gives = (self.source != DARK) | (self.added != DARK)
            lit = gives[:, :lights].any(axis=1, keepdims=True)  # else the intensity is nothing
            columns = [columns[0], *(np.where(lit, one, DARK) for one in columns[1:])]
            columns += [_steps(self.glow), self.patch[:, None]]
        return np.concatenate(columns, axis=1)

    @classmethod
    def from_rows(cls, rows: Ints, channels: int) -> Self:
        """From all facts as whole numbers (U, 2 + 2C + L), in the order of the fields."""
        source, added = rows[:, 1 : 1 + channels], rows[:, 1 + channels : 1 + 2 * channels]
        glow = (rows[:, 1 + 2 * channels : -1] / _GLOW).astype(np.float32)
        return cls(rows[:, 0], source, added, glow, rows[:, -1])


class Patched(NamedTuple):
    """A cover that is not as planned, and the first fault that has it."""

    patch: Patch
    fault: Fault


@dataclass(frozen=True, eq=False)
class Deviations:
    """The LEDs that are not as planned, of F walls.

    planned: facts of all N LEDs as planned. other: the U facts that differ from them, each once.
    wall, which: (K,) LED `which` of `other` is in the wall of that number. walls: F.
    """

    planned: LedFacts
    other: LedFacts
    wall: Ints
    which: Ints
    walls: int


def patches_of(display: Display, faults: Iterable[Fault]) -> tuple[Patched, ...]:
    """The covers that faults change, each look once."""
    found: dict[Look, Patched] = {}
    for fault in faults:
        if fault.stage == "light":
            for patch in as_built(display, [fault]).patches:
                found.setdefault(_look(patch), Patched(patch, fault))
    return tuple(found.values())


def deviations(
    display: Display,
    walls: Iterable[Built],
    patches: Sequence[Patched],
    reference: Built | None = None,
) -> Deviations:
    """What each wall as built has of wiring, strip and light that is not as planned.

    patches: all that the walls have. reference: the wall that they are compared with, and that
    `planned` of the result is of; default: as planned. It takes memory for F · N LEDs at most.
    """
    looks = {_look(one.patch): 1 + number for number, one in enumerate(patches)}
    channels = len(display.chip.channels)
    known_wall = Known.of(reference or Built.as_planned(display))
    planned = _rows([known_wall.built], looks, known_wall)[0]
    at_wall: list[Ints] = [np.zeros(0, np.int64)]
    keys: list[Hashes] = [np.zeros(0, np.uint64)]
    known, known_rows = keys[0], planned[:0]
    at_once = max(_AT_ONCE // max(display.leds, 1), 1)
    count, coming = 0, iter(walls)
    while some := list(islice(coming, at_once)):
        rows = _rows(some, looks, known_wall)
        number, led = np.nonzero((rows != planned).any(axis=2))
        differing = rows[number, led]
        at_wall.append(number + count)
        count += len(some)
        keys.append(hashes(differing))
        known, first = np.unique(np.concatenate([known, keys[-1]]), return_index=True)
        known_rows = np.concatenate([known_rows, differing])[first]
    return Deviations(
        LedFacts.from_rows(planned, channels),
        LedFacts.from_rows(known_rows, channels),
        np.concatenate(at_wall),
        np.searchsorted(known, np.concatenate(keys)),
        count,
    )


def hashes(rows: Ints) -> Hashes:
    """(U,) a number of 64 bits for each row of whole numbers (U, W), the same in every process.

    Multilinear, then mixed as in splitmix64 (Steele, Lea and Flood, OOPSLA 2014), so that sums of
    hashes do not cancel out. Two rows share one with a probability below 2^-40, as their numbers
    differ by less than 2^24.
    """
    weights = np.random.default_rng(0).integers(0, 1 << 64, rows.shape[1], dtype=np.uint64)
    z = (rows.astype(np.uint64) * (weights | np.uint64(1))).sum(axis=1, dtype=np.uint64)
    z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return np.asarray(z ^ (z >> np.uint64(31)))


def _look(patch: Patch) -> Look:
    return patch.share, patch.bare, patch.off_mm


def _rows(built: Sequence[Built], looks: Mapping[Look, int], known: Known) -> Ints:
    """(F, N, 2 + 2C + L) the facts of all LEDs of F walls, as `LedFacts.rows` has them."""
    chain = stacked([by_led(one, known) for one in built])
    off, on = (np.stack([getattr(one, name) for one in built]) for name in ("off", "on"))
    reads = ((chain.at >= 0) & ~chain.clears)[..., None]
    ones = reads & chain.sets[..., None]
    taken = reads & ~ones & ~off & ~on
    also = chain.also[..., None]
    source = np.where(taken & (chain.pick >= 0), chain.at[..., None] + chain.pick, DARK)
    source = np.where(on, FULL, np.where(ones & ~off, ONES, source))
    added = np.where(taken & (also >= 0), chain.at[..., None] + also, DARK)
    black = _black_bytes(built[0].display)
    source, added = (np.where((at >= 0) & black[at], DARK, at) for at in (source, added))
    glow = np.stack([one.glow for one in built]).astype(np.float32)
    gives = ((source != DARK) | (added != DARK))[..., : glow.shape[2]]
    clear, patch = _before_cells(built, looks)
    # Of a channel that never gives light nobody can say how much it would give.
    glow = np.where(gives, glow * clear[..., None], np.float32(1))
    patch = np.where(gives.any(axis=2), patch, 0)
    position = np.broadcast_to(np.arange(patch.shape[1]), patch.shape)
    columns = position[..., None], source, added, _steps(glow), patch[..., None]
    return np.concatenate(columns, axis=2)


def _black_bytes(display: Display) -> Bools:
    """(B,) the LED bytes that are 0 in every picture: those of LEDs without a cell. At least one
    byte, which counts if there are none."""
    colours = np.array([letter != "I" for letter in display.chip.order])
    black: Bools = (display.wiring.hidden[:, None] & colours).ravel()
    return np.append(black, False)


def _steps(glow: NDArray[np.float32]) -> Ints:
    return np.round(glow * np.float32(_GLOW)).astype(np.int64)


def _before_cells(
    built: Sequence[Built], looks: Mapping[Look, int]
) -> tuple[NDArray[np.float32], Ints]:
    """(F, N) each: the share of light that the front passes, and the patch, before each LED."""
    wiring = built[0].display.wiring
    clear = np.ones((len(built), len(wiring)), dtype=np.float32)
    patch = np.zeros(clear.shape, dtype=np.int64)
    placed = wiring.placed
    cell = wiring.row[placed], wiring.column[placed]
    for number, one in enumerate(built):
        clear[number, placed] = one.clear[cell]
        for new in one.patches:
            patch[number, placed[new.cells[cell]]] = looks[_look(new)]
    return clear, patch


def drives_of(facts: LedFacts, data: NDArray[np.uint8], display: Display) -> NDArray[np.uint8]:
    """What LEDs (U) with these facts show of frames (T, B): (T, U, C) uint8 in the order of drives.

    data: the LED bytes of all lines in a row, without framing; of pictures, so that a common
    intensity is full.
    """
    frames, length = data.shape
    full = full_drives(display.chip)
    end = np.concatenate([full, np.array([255, 0], dtype=np.uint8)])
    held = np.concatenate([data, np.tile(end, (frames, 1))], axis=1)
    instead = np.array([length + len(full), 0, length + len(full) + 1])  # ONES, FULL, DARK
    lit = np.broadcast_to(length + np.arange(len(full)), facts.source.shape)
    at = np.where(facts.source >= 0, facts.source, instead[np.minimum(facts.source, -1) + 3])
    at = np.where(facts.source == FULL, lit, at)
    values: NDArray[np.uint8] = np.take(held, at, axis=1)
    if (facts.added >= 0).any():
        more = np.take(
            held, np.where(facts.added >= 0, facts.added, length + len(full) + 1), axis=1
        )
        values = np.minimum(values.astype(np.int16) + more, 255).astype(np.uint8)
    return values
