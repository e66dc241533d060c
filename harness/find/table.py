"""What a person would see of every suspect under every picture, compactly.

As in the campaign, only LEDs that are not as in the reference wall are kept, each once however
many suspects have it: 15,000 suspects of 700 LEDs share some 30,000 of them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bytes, Floats, Ints, Light
from emulator.description.display import Display
from emulator.description.faults.built import as_built
from emulator.description.faults.fault import Fault
from emulator.signal.framing import in_order
from harness.campaign.eye import NOT_LIT, Eye
from harness.campaign.facts import LedFacts, deviations, drives_of, patches_of
from harness.find.answer import FITS, WORDS, Seen, spoken
from harness.find.pictures import Question, drives_of_questions

_LEDS_AT_ONCE = 1 << 21
_SYMBOLS_AT_ONCE = 1 << 19

Symbols = NDArray[np.uint8]
Progress = Callable[[Sequence[int], str], Iterable[int]]


@dataclass(frozen=True, eq=False)
class Table:
    """F suspects, one fault each beside those that the wall has anyway, under Q pictures.

    reference: symbols (Q, N) of the wall without any of the suspects. position: (U,) the LED of
    each way that an LED may differ from it. symbols: (Q, U) what is seen of these. fault, which:
    (K,) suspect `fault` has `which` of them. faults: F.
    """

    reference: Symbols
    position: Ints
    symbols: Symbols
    fault: Ints
    which: Ints
    faults: int

    def slips(self, number: int, seen: Seen, beside: Sequence[int] = ()) -> Floats:
        """How many slips away each suspect is from what is seen (N,) of a picture: (F,).

        beside: suspects that are there as well, each on LEDs of its own; a dark LED stays dark.
        """
        shown = self.shown(number, beside)
        symbols = self.symbols[number]
        if beside:
            dark = (shown == NOT_LIT) & (self.reference[number] != NOT_LIT)
            symbols = np.where(dark[self.position], NOT_LIT, symbols)
        words = seen[self.position]
        extra = FITS[words, symbols] - FITS[words, shown[self.position]]
        each = np.bincount(self.fault, extra[self.which], minlength=self.faults)
        return np.asarray(FITS[seen, shown].sum() + each)

    def shown(self, number: int, suspects: Sequence[int]) -> Symbols:
        """The symbols (N,) of the wall with some suspects together, under a picture."""
        shown: Symbols = self.reference[number].copy()
        for suspect in suspects:
            which = self.which[self.fault == suspect]
            at = self.position[which]
            dark = (shown[at] == NOT_LIT) & (self.reference[number, at] != NOT_LIT)
            shown[at] = np.where(dark, NOT_LIT, self.symbols[number, which])
        return shown

    def signatures(self, colours: bool) -> NDArray[np.uint64]:
        """(F, Q) equal where a person would say the same of a picture; 0: as the reference."""
        leds = self.reference.shape[1]
        found = np.zeros((self.faults, len(self.reference)), dtype=np.uint64)
        for number, (plain, symbols) in enumerate(zip(self.reference, self.symbols, strict=True)):
            weights = np.random.default_rng(number).integers(0, 1 << 64, (leds, WORDS), np.uint64)
            before = weights[np.arange(leds), spoken(plain, colours)]
            after = weights[self.position, spoken(symbols, colours)]
            each = after - before[self.position]
            np.add.at(found[:, number], self.fault, each[self.which])
        return found


def build(
    display: Display,
    suspects: Sequence[Fault],
    asked: Sequence[Question],
    beside: Sequence[Fault] = (),
    progress: Progress = lambda steps, _: steps,
) -> Table:
    """The table of suspects of a display whose file has no faults."""
    patches = patches_of(display, [*suspects, *beside])
    eye = Eye(display, patches)
    at_once = min(max(_LEDS_AT_ONCE // max(display.leds, 1), 1), 2048)
    drives = drives_of_questions(asked, display)
    data = in_order(drives, display.chip.to_wire).reshape(len(drives), -1)
    meant = eye.light(drives)
    parts = []
    for begin in progress(range(0, len(suspects), at_once), "suspects"):
        some = suspects[begin : begin + at_once]
        built = (as_built(display, [*beside, fault]) for fault in some)
        walls = deviations(display, built, patches, as_built(display, beside))
        other = walls.other
        symbols = np.zeros((len(asked), len(other.position)), dtype=np.uint8)
        size = max(_SYMBOLS_AT_ONCE // len(asked), 1)
        for first in range(0, len(other.position), size):
            part = slice(first, first + size)
            symbols[:, part] = _symbols(eye, meant, data, _cut(other, part), display)
        parts.append((walls, symbols))
    starts = np.cumsum([0, *(len(walls.other.position) for walls, _ in parts)])
    planned = parts[0][0].planned
    return Table(
        _symbols(eye, meant, data, planned, display),
        np.concatenate([walls.other.position for walls, _ in parts]),
        np.concatenate([symbols for _, symbols in parts], axis=1),
        np.concatenate([walls.wall + number * at_once for number, (walls, _) in enumerate(parts)]),
        np.concatenate(
            [walls.which + start for (walls, _), start in zip(parts, starts[:-1], strict=True)]
        ),
        len(suspects),
    )


def _symbols(eye: Eye, meant: Light, data: Bytes, facts: LedFacts, display: Display) -> Symbols:
    shown = eye.light(drives_of(facts, data, display), facts.glow)
    return eye.symbols(meant[:, facts.position], shown, facts.position, facts.patch)


def _cut(facts: LedFacts, part: slice) -> LedFacts:
    return LedFacts(facts.position[part], facts.source[part], facts.added[part],
                    facts.glow[part], facts.patch[part])  # fmt: skip
