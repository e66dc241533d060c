"""The bytes that each chip of a chain takes from the line, for one wall or many at once.

A chip keeps the first bytes that reach it and passes the rest on (WS2812B datasheet). The chips
before it decide which bytes reach it. So a chain as built is a table: where the bytes of each chip
begin, and which of them it shows. One look-up in the bytes of the frame then gives what all chips
show. The tables of many walls, each with its own faults, are stacked along a leading axis F and
looked up together.

Clocked chips take the bytes of LEDs without the framing (`signal.framing.led_bytes`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from emulator.arrays import Bools, Bytes, Ints
from emulator.description.chips import Chip
from emulator.description.faults.built import EXTRA, Built, high_times_ns

FULL_INTENSITY = 31  # five bits: APA102 datasheet


@dataclass(frozen=True, eq=False)
class Chain:
    """A table of M chips, or of the M LEDs of F walls: (F, M) for each (M,) below.

    at: (M,) number of the first byte that a chip takes; -1: no data reaches it. size: (M,) how many
    bytes it needs. pick: (M, C) which of them each channel shows, in the order of drives; -1: none.
    also: (M,) the one that is added to all channels; -1: none. clears, sets: bool (M,), whether all
    bits read as 0, or as 1.
    """

    at: Ints
    size: Ints
    pick: Ints
    also: Ints
    clears: Bools
    sets: Bools

    @property
    def chips(self) -> int:
        """M, the chips of the chain."""
        return int(self.at.shape[-1])

    @property
    def length(self) -> int:
        """Bytes that the chips of a chain (M,) take if all are reached; more fall off its end."""
        reached = self.at >= 0
        return int((self.at + self.size)[reached].max(initial=0) + self.size[~reached].sum())

    def take(self, data: Bytes) -> tuple[Bytes, Bools]:
        """What chips show of frames, and which chips got all their bytes.

        data: uint8 (…, B), bytes of LEDs, without framing. Returns uint8 (…, F, M, C) in the order
        of drives, and bool (F, M), which depends only on the length B. One wall has no axis F.
        """
        length = data.shape[-1]
        got = (self.at >= 0) & (self.at + self.size <= length)
        held = np.concatenate([data, np.zeros((*data.shape[:-1], 1), np.uint8)], axis=-1)
        at = self.at[..., None] + self.pick
        at = np.where(got[..., None] & (self.pick >= 0), at, length)
        values = np.take(held, at, axis=-1)
        if (self.also >= 0).any():
            at = np.where(got & (self.also >= 0), self.at + self.also, length)
            white = np.take(held, at, axis=-1)[..., None]
            values = np.minimum(values.astype(np.int16) + white, 255).astype(np.uint8)
        if self.clears.any() or self.sets.any():
            values = np.where(self.clears[..., None], 0, values)
            values = np.where((self.sets & got)[..., None], 255, values).astype(np.uint8)
        return values, got


def chain_of(built: Built, output: int) -> Chain:
    """The chips (M,) of the chain at an output, in the order of the data."""
    chain, chip = built.chains[output], built.display.chip
    planned = chain != EXTRA
    led = np.where(planned, chain, 0)

    def of(facts: Bools | Ints, otherwise: Ints | int | bool) -> Ints:
        shape = (-1, *[1] * (facts.ndim - 1))
        return np.where(planned.reshape(shape), facts[led], otherwise)

    size = of(built.size, chip.bytes_per_led)
    joined = of(built.joined, False).astype(bool)
    joined[:1] = False
    # Joined inputs get the data of the last LED before them that has an input of its own. The last
    # of them passes on what it does not keep.
    number = np.arange(chain.size)
    own = np.maximum.accumulate(np.where(joined, 0, number))
    passing = np.append(~joined[1:], np.ones(min(chain.size, 1), dtype=np.bool_))
    kept = np.where(passing, size, 0)
    at = (np.cumsum(kept) - kept)[own]
    before = own - 1  # the chip that an input gets its data from; -1: the controller

    def sent(facts: Ints, by_controller: int) -> Ints:
        return np.asarray(np.append(facts, by_controller)[before])

    hears = of(built.hears, True).astype(bool)
    hears &= hears[own]  # no data at an input is none at those joined to it
    lost = passing & ~(hears & of(built.passes, True).astype(bool))
    reached = hears & (sent(np.cumsum(lost), 0) == 0)
    zero_ns, one_ns, least_ns = high_times_ns(chip)
    least = of(built.least_ns, least_ns)
    clears = of(built.clears, False).astype(bool)
    clears |= sent(of(built.one_ns, one_ns), one_ns) < least
    sets = of(built.sets, False).astype(bool)
    sets |= (sent(of(built.zero_ns, zero_ns), zero_ns) >= least) & (least > 0)
    # If a chip changes all bits, the chips after it get that value, until another changes them.
    changes = clears | sets
    earlier = np.maximum.accumulate(np.where(changes & passing, number + 1, 0))
    last = np.where(changes, number, sent(earlier, 0) - 1)
    changed = last >= 0
    return Chain(
        np.where(reached, at, -1),
        size,
        of(built.pick, chip.from_wire.astype(np.int64)),
        of(built.also, -1),
        clears[last] & changed,
        sets[last] & changed,
    )


def places(built: Built) -> Ints:
    """(N,) the place of each planned LED among the chips of all chains, -1 if it is in none."""
    chips = np.concatenate(built.chains)
    where = np.full(built.display.leds, -1)
    planned = np.flatnonzero(chips != EXTRA)
    where[chips[planned]] = planned
    return where


class Known(NamedTuple):
    """A wall with its chains and its table `by_led`, for walls that are like it in part."""

    built: Built
    chains: tuple[Chain, ...]
    table: Chain

    @classmethod
    def of(cls, built: Built) -> Known:
        """The tables of a wall."""
        chains = tuple(chain_of(built, output) for output in range(len(built.chains)))
        return cls(built, chains, _joined(built, chains))

    def same(self, built: Built) -> list[bool]:
        """Of each output, whether its chain is the same in another wall of this display."""
        mine = self.built
        changed = [
            name for name in _FACTS
            if not np.array_equal(getattr(mine, name), getattr(built, name))
        ]  # fmt: skip
        pairs = zip(mine.chains, built.chains, strict=True)
        return [np.array_equal(a, b) and self._has(built, a, changed) for a, b in pairs]

    def _has(self, built: Built, chain: Ints, changed: Sequence[str]) -> bool:
        leds = chain[chain != EXTRA] if changed else chain
        return all(
            np.array_equal(getattr(self.built, name)[leds], getattr(built, name)[leds])
            for name in changed
        )


# What `chain_of` reads of each LED.
_FACTS = ("hears", "passes", "size", "pick", "also", "joined", "clears", "sets", "zero_ns",
          "one_ns", "least_ns")  # fmt: skip


def by_led(built: Built, known: Known | None = None) -> Chain:
    """The table of all planned LEDs (N,), for the bytes of all lines one after the other.

    An LED that is in no chain gets nothing. known: a wall whose tables are taken where this one is
    the same, as that is much faster.
    """
    if known is None:
        return Known.of(built).table
    same = known.same(built)
    if all(same):
        return known.table
    parts = [
        known.chains[output] if there else chain_of(built, output)
        for output, there in enumerate(same)
    ]
    return _joined(built, parts)


def _joined(built: Built, parts: Sequence[Chain]) -> Chain:
    """The table of all planned LEDs (N,), from those of the outputs."""
    chip, wiring = built.display.chip, built.display.wiring
    starts = np.repeat(np.array(wiring.line_starts) * chip.bytes_per_led, [p.chips for p in parts])
    ends = np.repeat(
        (np.array(wiring.line_starts) + wiring.line_lengths) * chip.bytes_per_led,
        [p.chips for p in parts],
    )
    at = np.concatenate([part.at for part in parts])
    size = np.concatenate([part.size for part in parts])
    at = np.append(np.where((at < 0) | (starts + at + size > ends), -1, starts + at), -1)
    where = places(built)

    def of(name: str) -> Ints:
        values = np.concatenate([getattr(part, name) for part in parts])
        none = np.zeros((1, *values.shape[1:]), dtype=values.dtype)  # of an LED in no chain
        return np.asarray(np.concatenate([values, none])[where])

    return Chain(
        at[where], of("size"), of("pick"), of("also"),
        of("clears").astype(bool), of("sets").astype(bool),
    )  # fmt: skip


def stacked(chains: Sequence[Chain]) -> Chain:
    """Tables (N,) of F walls as one (F, N)."""
    return Chain(*(np.stack([getattr(c, name) for c in chains]) for name in _FIELDS))


_FIELDS = tuple(Chain.__dataclass_fields__)


def full_drives(chip: Chip) -> Bytes:
    """(C,) the drive of each channel when it is lit fully: 255, of a common intensity 31."""
    full = [FULL_INTENSITY if letter == "I" else 255 for letter in chip.channels]
    return np.array(full, dtype=np.uint8)


def fully_lit(shown: Bytes, on: Bools, full: Bytes) -> Bytes:
    """What LEDs (…, N, C) show if some channels (…, N, C) are always fully lit.

    full: (C,) drive of such a channel. A common intensity is then full, too; the drives of the
    other channels fall by as much as it rises, so that their light stays.
    """
    if full[-1] == FULL_INTENSITY and on.any():
        dimmed = np.round(shown * (shown[..., -1:] / FULL_INTENSITY)).astype(np.uint8)
        shown = np.where(on[..., -1:], dimmed, shown)
    return np.where(on, full, shown)


def shown_by(chain: Chain, off: Bools, on: Bools, data: Bytes, full: Bytes) -> Bytes:
    """What LEDs show after frames, from dark: (T, F, N, C) uint8 in the order of drives.

    chain: of F walls, as `stacked` gives it. off, on: (F, N, C) channels that stay dark, or lit.
    data: (T, B) bytes of LEDs of whole frames, all lines in a row. full: (C,) drive of a lit
    channel. An LED that gets no data stays dark, except channels that are always lit.
    """
    values, got = chain.take(data)
    values[:, ~got] = 0
    return fully_lit(np.where(off, np.uint8(0), values), on, full)
