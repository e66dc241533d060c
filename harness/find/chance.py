"""How likely an answer is where chance decides what the LEDs of a line read.

Noise, weak levels, a ground that floats and pauses of the computer make data wrong by chance, and
nobody knows how strong they are in this wall. So each look at one of these faults is a sample, and
another look shows something else. Its likelihood is a mean over walls with the fault,
of other strength and with other seeds, which are played at the time of the answer.

What is played gives the shares of the words that a person would have for the LEDs of the line. The
words themselves come in stretches: they are taken for a Markov chain along the line, whose
transitions are not known. With a Dirichlet distribution about the played shares its likelihood has
a closed form (Pólya's urn; for two words it is the beta-binomial distribution). How far it is
spread, and how strong the faults are, are assumptions, no source.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cached_property, partial
from typing import NamedTuple

import numpy as np

from emulator.arrays import Bools, Bytes, Floats, Ints
from emulator.asbuilt import Moment
from emulator.chain import full_drives
from emulator.clock import SECOND_NS
from emulator.description.display import Display
from emulator.description.faults.built import as_built
from emulator.description.faults.fault import Fault, Sometimes
from emulator.power.network import build_network
from emulator.power.solve import Rails, solve_rails
from emulator.signal.framing import frame_bytes, in_order
from emulator.strip import Strip
from harness.campaign.eye import Eye
from harness.campaign.settled import settle
from harness.find.answer import DARK, FINE, FLICKERS, MIXED, UNSURE, WORDS, Seen, spoken
from harness.find.pictures import Frames, Question

# From, to, of what may be different in each wall; drawn evenly in the logarithm.
_STRENGTH = {
    "low-logic": {"threshold": (0.55, 0.75)},
    "long-wire": {"metres": (3.0, 40.0)},
    "no-common-ground": {"share": (0.2, 1.0)},
    "ground-lifted": {"mohm": (30.0, 1000.0)},
    "motor-noise": {"noise_v": (0.3, 2.0), "share": (0.03, 0.6)},
    "busy-computer": {"pause_us": (300.0, 3000.0), "share": (0.03, 0.6)},
}
_WALLS = 8  # with a fault, the first as the campaign has it
_LOOKS = 2  # at each of them, after a dark and after a white picture
_SENDS = 10  # of each picture during a look
_REDRAWN = 6  # times, until chance decides something in a wall
_PULL = 1.5  # how strongly the played shares of words draw each transition
_STAYS = np.array([1.0, 20.0])  # and how strongly words stay as they are: two guesses
_UNPLAYED = 0.05  # of the shares: words that were not played may come, too
_ANY = np.full(WORDS, 0.01)
_ANY[[FINE, DARK, FLICKERS]] = (1 - 0.01 * (WORDS - 3)) / 3
_AS_OTHERS = 0.3  # chance that a fault looks as its likes do: of a strength that is not played
_ABOUT = 6.0  # by which a likelihood of shares that are not played may be wrong, a picture
_SHOWS_NOTHING = 0.3  # chance that such a line looks right in a picture


class _Wall(NamedTuple):
    """A line of a wall whose fault has some strength: while it is there, and its share of time."""

    moment: Moment
    share: float


class ByChance:
    """The suspects of a display on which chance decides. colours: whether a person names colours.

    numbers: (K,) which of the suspects they are.
    """

    def __init__(self, display: Display, suspects: Sequence[Fault], colours: bool) -> None:
        self._display, self._colours = display, colours
        signal = [n for n, one in enumerate(suspects) if one.stage == "signal"]
        restless = self._restless([suspects[n] for n in signal])
        self.numbers = [n for n, plays in zip(signal, restless, strict=True) if plays]
        self._faults = [suspects[n] for n in self.numbers]
        self._drawn: dict[int, list[_Wall]] = {}
        self._shares: dict[tuple[int, str], tuple[Bools, Floats]] = {}
        self._each: dict[tuple[int, str, bytes], Floats] = {}

    def log_likelihood(self, answers: Sequence[tuple[Question, Seen]], matters: Floats) -> Floats:
        """(K,) natural logarithm of the probability of all that was said of each suspect's line.

        matters: (K,) from which on it must be exact. Far below, nothing is played.
        """
        each = np.array([self._of(n, answers, matters[n]) for n in range(len(self.numbers))])
        lines = np.array([int(str(fault.place["line"])) for fault in self._faults])
        for line in np.unique(lines):
            alike = each[lines == line]
            mean = np.full(alike.size, _log_mean(alike))
            both = np.stack([alike, mean], axis=1)
            each[lines == line] = np.logaddexp.reduce(
                both + np.log([1 - _AS_OTHERS, _AS_OTHERS]), axis=1
            )
        return each

    def _of(self, number: int, answers: Sequence[tuple[Question, Seen]], matters: float) -> float:
        at = self._cells(self._faults[number])
        told = [(one, seen[at]) for one, seen in answers if (seen[at] != UNSURE).any()]
        if all(np.isin(words, (FINE, UNSURE)).all() for _, words in told):
            return len(told) * math.log(_SHOWS_NOTHING)
        about = float(sum(_of_row(words, _ANY) for _, words in told))
        if about < matters - _ABOUT * len(told):
            return about
        return float(_log_mean(np.sum([self._of_words(number, *one) for one in told], axis=0)))

    @cached_property
    def _eye(self) -> Eye:
        return Eye(self._display, [])

    def _walls(self, number: int) -> list[_Wall]:
        """The walls with a suspect that are played."""
        if number not in self._drawn:
            fault, rng = self._faults[number], np.random.default_rng(number)
            walls = [self._wall(fault, rng, redraw=count > 0) for count in range(_WALLS)]
            self._drawn[number] = walls
        return self._drawn[number]

    def _wall(self, fault: Fault, rng: np.random.Generator, redraw: bool) -> _Wall:
        one = fault
        for _ in range(_REDRAWN if redraw else 0):
            one = of_other_strength(fault, rng)
            if self._restless([one])[0]:
                break
        share = one.share if isinstance(one, Sometimes) else 1.0
        return _Wall(Moment.of(as_built(self._display, [one])), share)

    def _restless(self, faults: Sequence[Fault]) -> list[bool]:
        """Whether chance decides what arrives, of a wall with each of these faults."""
        dark = np.zeros((1, self._display.leds))
        settled = settle(self._display, [(fault,) for fault in faults], dark)
        return [one.manner == "restless" for one in settled]

    def _cells(self, fault: Fault) -> Ints:
        """The LEDs of a suspect's line that have a cell, in the order of the line."""
        wiring = self._display.wiring
        return np.flatnonzero((wiring.line == fault.place["line"]) & ~wiring.hidden)

    def _of_words(self, number: int, question: Question, words: Seen) -> Floats:
        """(_WALLS,) logarithms of the probability of the words (n,) for the LEDs of a line."""
        key = number, question.name, words.tobytes()
        if key not in self._each:
            lit, shares = self._of_question(number, question)
            each = [_of_row(words[c], shares[..., n, :]) for n, c in enumerate((lit, ~lit))]
            self._each[key] = _log_mean(each[0] + each[1])
        return self._each[key]

    def _of_question(self, number: int, question: Question) -> tuple[Bools, Floats]:
        """(n,) the LEDs that should be lit, and (_WALLS, _LOOKS, 2, WORDS) shares of the words for
        those and for the others."""
        key = number, question.name
        if key not in self._shares:
            played = _Played(self._display, question, self._eye)
            fault = self._faults[number]
            lit = played.frames.lit[0, self._cells(fault)]
            shares = np.zeros((_WALLS, _LOOKS, 2, WORDS))
            for look in range(_LOOKS):
                rng = np.random.default_rng([number, look])
                words = self._words(played, fault, self._walls(number), rng, look % 2 == 1)
                for side, cells in enumerate((lit, ~lit)):
                    for wall, row in enumerate(words[:, cells]):
                        shares[wall, look, side] = np.bincount(row, minlength=WORDS)
            count = np.maximum(shares.sum(axis=-1, keepdims=True), 1)
            shares = (1 - _UNPLAYED) * shares / count + _UNPLAYED * _ANY
            self._shares[key] = lit, shares
        return self._shares[key]

    def _words(
        self,
        played: _Played,
        fault: Fault,
        walls: Sequence[_Wall],
        rng: np.random.Generator,
        lit_before: bool,
    ) -> Seen:
        """The words (W, n) of a look at the line of a suspect in each of some walls."""
        output, at = int(str(fault.place["line"])), self._cells(fault)
        shown = np.stack([played.look(output, one, rng, lit_before) for one in walls])
        count = len(played.frames.of)
        drives = shown[:, :, at - self._display.wiring.line_starts[output]]
        light = self._eye.light(drives.reshape(-1, *drives.shape[2:]))
        meant = np.tile(played.meant[:, at], (len(walls) * _SENDS, 1, 1))
        symbols = self._eye.symbols(meant, light, at, np.zeros(at.size, dtype=np.int64))
        each = symbols.reshape(len(walls), _SENDS, count, at.size)
        same = (each == each[:, :1]).all(axis=(1, 2))
        return np.where(same, spoken(each[:, 0].max(axis=1), self._colours), FLICKERS).astype(
            np.uint8
        )


class _Played:
    """A question on lines whose data chance decides."""

    def __init__(self, display: Display, question: Question, eye: Eye) -> None:
        self._display = display
        self.frames = Frames.of_questions([question], display)
        self.meant = eye.light(self.frames.drives)
        dark = np.zeros_like(self.frames.drives[:1])
        network, chip = build_network(display), display.chip
        self._rails = [
            solve_rails(network, drives[None], chip) for drives in (*self.frames.drives, *dark)
        ]
        self._planned = Moment.of(as_built(display, []))

    def look(self, output: int, wall: _Wall, rng: np.random.Generator, lit_before: bool) -> Bytes:
        """(T, n, C) what the LEDs of an output show after each of the frames of a look.

        Nobody sees the first of them: the eye is not there yet.
        """
        chip, wiring = self._display.chip, self._display.wiring
        first, leds = wiring.line_starts[output], wiring.line_lengths[output]
        strip = Strip(chip, leds, self._display.controller.clock_mhz * 1e6)
        drives = self.frames.drives[:, first : first + leds]
        data = [frame_bytes(in_order(one, chip.to_wire), chip) for one in drives]
        white = frame_bytes(in_order(np.tile(full_drives(chip), (leds, 1)), chip.to_wire), chip)
        before = [(0, white)] * (2 if lit_before else 0)
        sent = [*before, *([*enumerate(data)] * (1 + _SENDS))]
        shown = []
        at_ns = int(rng.integers(1 << 40))
        for which, frame in sent:
            at_ns += SECOND_NS // 4
            moment = wall.moment if rng.random() < wall.share else self._planned
            moment.receive(output, strip, frame, at_ns, partial(self._load, strip, which))
            shown.append(strip.latched)
        return np.stack(shown[-_SENDS * len(data) :])

    def _load(self, strip: Strip, which: int) -> Rails:
        """The volts while a strip shows what it does: those of a frame, or of a dark wall."""
        lit = strip.latched.mean() * 2 > self.frames.drives[which].mean()
        return self._rails[which if lit else -1]


def of_other_strength(fault: Fault, rng: np.random.Generator) -> Fault:
    """The fault as strong as it may be in some wall."""
    ranges = _STRENGTH.get(fault.name, {})
    drawn = {name: float(np.exp(rng.uniform(*np.log(ends)))) for name, ends in ranges.items()}
    return fault.model_copy(update=drawn)


def _of_row(words: Seen, shares: Floats) -> Floats:
    """(…) logarithm of the probability of words (n,) in a row. shares: (…, WORDS)."""
    words = np.where(words == MIXED, FLICKERS, words)[words != UNSURE]
    if not words.size:
        return np.zeros(shares.shape[:-1])
    pairs, counts = np.unique(np.stack([words[:-1], words[1:]], axis=1), axis=0,
                              return_counts=True)  # fmt: skip
    total = np.zeros((*shares.shape[:-1], _STAYS.size))
    for word in np.unique(pairs[:, 0]).tolist():
        of = pairs[:, 0] == word
        weight = _PULL + _STAYS
        total += _lgamma(weight) - _lgamma(weight + counts[of].sum())
        for after, count in zip(pairs[of, 1].tolist(), counts[of].tolist(), strict=True):
            alpha = _PULL * shares[..., after, None] + (_STAYS if after == word else 0.0)
            total += _lgamma(alpha + count) - _lgamma(alpha)
    return np.asarray(np.log(shares[..., words[0]]) + _log_mean(total))


def _lgamma(values: Floats) -> Floats:
    return np.asarray(_LGAMMA(values), dtype=np.float64)


_LGAMMA = np.frompyfunc(math.lgamma, 1, 1)


def _log_mean(values: Floats) -> Floats:
    """Logarithm of the mean over the last axis of what has these logarithms."""
    most = values.max(axis=-1, keepdims=True)
    return np.asarray(most[..., 0] + np.log(np.exp(values - most).mean(axis=-1)))
