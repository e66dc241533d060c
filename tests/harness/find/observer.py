"""A simulated person before a wall with faults: looks, says it in words or paints it."""

from __future__ import annotations

import numpy as np

from emulator.bench import Bench
from emulator.clock import SECOND_NS
from harness.campaign.eye import Eye
from harness.campaign.watch import sent_drives
from harness.find.answer import DARK, DIM, FINE, FLICKERS, WRONG, spoken
from harness.find.chance import of_other_strength
from harness.find.saying import said
from harness.find.words import planned_words, read_answer

SPELL_S = 0.05, 300.0  # of a joint that comes and goes; even in the logarithm
LOOK_S = 8  # of a person at a picture
SENDS = 16  # of it meanwhile


def painted(symbols, rng=None, slips=0.0):
    """What a person paints (N,) for symbols of the eye; of a share of cells something else."""
    seen = spoken(symbols, colours=False)
    if slips:
        wrong = rng.random(seen.size) < slips
        other = rng.choice([FINE, DARK, WRONG, DIM], seen.size)
        seen = np.where(wrong, np.where(seen == FINE, np.where(other == FINE, DARK, other), FINE),
                        seen).astype(np.uint8)  # fmt: skip
    return seen


def in_words(symbols, display, picture):
    """What a person types, read again by foreglow: (N,)."""
    seen = spoken(symbols, colours=True)
    tinted = (seen == planned_words(display, picture)) & (symbols != 0)
    seen = np.where(tinted, WRONG, seen).astype(np.uint8)  # 'white' would mean: as it should be
    return read_answer(said(seen, display), display, picture)


class Person:
    """Looks at an emulated wall with a fault, from power-on, and paints. Each look is another."""

    def __init__(self, display, asked, fault, rng):
        self._display, self._asked, self._eye = display, asked, Eye(display, [])
        self._bench = Bench(display, faults=[fault], keep=2 * SENDS)
        self._rng = rng

    def __call__(self, number):
        bench, question, display = self._bench, self._asked[number], self._display
        count = len(question.pictures)
        pause_ns = int(self._rng.uniform(5, 20) * SECOND_NS)  # the answer before is typed
        begin_ns = bench.clock.now_ns() + pause_ns
        whole = max(SENDS // count, 3) * count
        for send in range(whole + count):
            at_ns = begin_ns + send * LOOK_S * SECOND_NS // whole
            bench.clock.wait_until(max(at_ns, bench.clock.now_ns()))
            bench.send(question.pictures[send % count])
            bench.settle()
        frames = bench.frames[-whole:].reshape(-1, count, display.leds, len(display.chip.channels))
        meant = self._eye.light(sent_drives(question.pictures, display))
        none, every = np.zeros(display.leds, dtype=np.int64), np.arange(display.leds)
        each = np.stack([self._eye.symbols(meant, self._eye.light(one), every, none)
                         for one in frames])  # fmt: skip
        same = (each == each[:1]).all(axis=(0, 1))
        seen = np.where(same, spoken(each[0].max(axis=0), colours=False), FLICKERS)
        seen[display.wiring.hidden] = FINE
        return seen.astype(np.uint8)


def redrawn(fault, rng):
    """A fault of the same kind at the same place, as some wall may have it: of other strength, or
    there for another share of the time; with other chance."""
    change = {"seed": int(rng.integers(1 << 20))}
    if fault.stage != "signal":
        share = 1 / (1 + np.exp(-rng.uniform(-3, 3)))
        spell_s = np.exp(rng.uniform(*np.log(SPELL_S)))
        change |= {"share": round(float(share), 3), "spell_s": round(float(spell_s), 3)}
    return of_other_strength(fault, rng).model_copy(update=change)
