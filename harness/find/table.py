"""What a person would see of every suspect under every picture, compactly.

As in the campaign, only LEDs that are not as in the reference wall are kept, each once however
many suspects have it: 15,000 suspects of 700 LEDs share some 30,000 of them.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Floats, Ints, Light
from emulator.chain import Known
from emulator.description.display import Display
from emulator.description.faults.built import Built
from emulator.description.faults.fault import Fault
from harness.campaign.campaign import Progress
from harness.campaign.eye import NOT_LIT, Eye
from harness.campaign.facts import LedFacts, deviations, drives_of, patches_of
from harness.campaign.settled import Settled, loads_of, settle
from harness.find.answer import FITS, FLICKER, WORDS, Seen, Symbols, spoken
from harness.find.electric import as_sparse, changed_by, loose, restless, sagging
from harness.find.loose import LOOSE_LEDS
from harness.find.pictures import Frames, Question

_LEDS_AT_ONCE = 1 << 21
_SYMBOLS_AT_ONCE = 1 << 19


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

    def slips(
        self, number: int, seen: Seen, beside: Sequence[int] = (), instead: Symbols | None = None
    ) -> Floats:
        """How many slips away each suspect is from what is seen (N,) of a picture: (F,).

        beside: suspects that are there as well, each on LEDs of its own; a dark LED stays dark, and
        an LED that the last suspect leaves as it was shows what the others make of it. instead:
        (U,) of each suspect alone these symbols.
        """
        shown = self.shown(number, beside)
        symbols = self.symbols[number] if instead is None else instead
        if beside:
            dark = (shown == NOT_LIT) & (self.reference[number] != NOT_LIT)
            left = dark[self.position] | (symbols == self.reference[number, self.position])
            symbols = np.where(left, shown[self.position], symbols)
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
            before, symbols = self.reference[number, at], self.symbols[number, which]
            left = ((shown[at] == NOT_LIT) & (before != NOT_LIT)) | (symbols == before)
            shown[at] = np.where(left, shown[at], symbols)
        return shown

    def with_flicker(self, suspects: Sequence[int]) -> Table:
        """Some suspects come and go: what differs flickers."""
        theirs = np.isin(self.fault, suspects)
        rows, at = np.unique(self.which[theirs], return_inverse=True)
        differs = self.symbols[:, rows] != self.reference[:, self.position[rows]]
        flickering = np.where(differs, np.uint8(FLICKER), self.symbols[:, rows])
        which = self.which.copy()
        which[theirs] = len(self.position) + at.ravel()
        return replace(
            self,
            position=np.concatenate([self.position, self.position[rows]]),
            symbols=np.concatenate([self.symbols, flickering], axis=1),
            which=which,
        )

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
    """The table of suspects of a display whose file has no faults.

    beside: faults that the wall has anyway. Those whose effect volts or chance decide are left out.
    """
    loads_a = loads_of(display, tuple({one.pattern.name: one.pattern for one in asked}.values()))
    alone = settle(display, [(one,) for one in beside], loads_a)
    beside = [one for one, wall in zip(beside, alone, strict=True) if wall.manner == "steady"]
    patches = patches_of(display, [*suspects, *beside])
    eye = Eye(display, patches)
    frames = Frames.of_questions(asked, display)
    meant = eye.light(frames.drives)
    reference = next(settle(display, [tuple(beside)], loads_a)).built
    at_once = min(max(_LEDS_AT_ONCE // max(display.leds, 1), 1), 2048)
    parts, others, flickering = [], [], []
    for begin in progress(range(0, len(suspects), at_once), "suspects"):
        walls = [(*beside, one) for one in suspects[begin : begin + at_once]]
        built = []
        for number, wall in enumerate(settle(display, walls, loads_a), start=begin):
            flickers = wall.manner == "now and then" and suspects[number].name in LOOSE_LEDS
            steady = wall.manner == "steady" or flickers
            built.append(wall.built if steady else reference)
            if flickers:
                flickering.append(number)
            if not steady:
                others.append((number, wall))
        facts = deviations(display, built, patches, reference)
        parts.append((facts, _of_facts(facts.other, frames, eye, meant, display)))
    known = _of_facts(parts[0][0].planned, frames, eye, meant, display)
    starts = np.cumsum([0, *(symbols.shape[1] for _, symbols in parts)])
    position, symbols, fault, which = as_sparse(
        [*_played(display, others, frames, eye, known, reference)], known
    )
    made = Table(
        known,
        np.concatenate([*(facts.other.position for facts, _ in parts), position]),
        np.concatenate([*(found for _, found in parts), symbols], axis=1),
        np.concatenate([*(f.wall + n * at_once for n, (f, _) in enumerate(parts)), fault]),
        np.concatenate(
            [*(f.which + n for (f, _), n in zip(parts, starts[:-1], strict=True)),
             which + starts[-1]]
        ),
        len(suspects),
    )  # fmt: skip
    return made.with_flicker(flickering)


def _played(
    display: Display,
    walls: Sequence[tuple[int, Settled]],
    frames: Frames,
    eye: Eye,
    known: Symbols,
    reference: Built,
) -> Iterator[tuple[int, Symbols]]:
    """Number and symbols (Q, N) of each wall whose facts do not say all."""
    sags = [(number, wall) for number, wall in walls if wall.manner == "sagging"]
    found = sagging(display, [wall for _, wall in sags], frames, eye)
    yield from zip([number for number, _ in sags], found, strict=True)
    chains = Known.of(reference)
    for number, wall in walls:
        if wall.manner == "now and then":
            changed = changed_by(wall.built, reference)
            yield number, loose(frames, wall, known, changed, chains)
        elif wall.manner == "restless":
            yield number, restless(display, wall, known)


def _of_facts(facts: LedFacts, frames: Frames, eye: Eye, meant: Light, display: Display) -> Symbols:
    """The symbols (Q, U) of LEDs with these facts."""
    symbols = np.zeros((frames.questions, len(facts.position)), dtype=np.uint8)
    size = max(_SYMBOLS_AT_ONCE // len(frames.of), 1)
    for first in range(0, len(facts.position), size):
        part = slice(first, first + size)
        some = facts.some(part)
        at = some.position
        shown = eye.light(drives_of(some, frames.data, display), some.glow)
        symbols[:, part] = frames.joined(eye.symbols(meant[:, at], shown, at, some.patch))
    return symbols
