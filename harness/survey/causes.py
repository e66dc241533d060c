"""From what a film shows to the faults behind it: which explain it, and which look the same.

One fault after the other is taken: the one with which most LEDs show what is expected, as long as
that pays for how rare it is (`harness.find.priors`). Walls with several faults are calculated
exactly, each candidate together with those taken before. A fault that the others have made needless
is dropped again. Candidates that fit the film as well are named with the best one.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bools, Floats, Ints
from emulator.description.display import Display
from emulator.description.faults.built import Built
from emulator.description.faults.fault import Fault
from emulator.power.least import nominal_a
from harness.campaign.facts import deviations, hashes
from harness.campaign.observe import of_walls
from harness.campaign.settled import Settled, settle
from harness.campaign.watch import sent_drives
from harness.find.priors import PER_PLACE, prior_odds
from harness.patterns.film import film_level
from harness.survey.reading import DARK, UNKNOWN, UNREAD, Readings, of_facts, slips
from harness.survey.suspects import local, moving

_A_SLIP = 12.0  # natural logarithm of the odds against a wrong reading: an assumption
_PAYS = 2.0  # by which a fault must explain better than none
_MANY = 2  # LEDs that a fault must explain, before single LEDs are looked at
_AS_WELL = 0.5  # of a slip: a candidate that is so little worse fits as well
_AT_ONCE = 256  # walls in memory
_MOST = 24  # faults that move data; then the wall is taken to be wired in another way altogether
# Natural logarithm of odds, by which a piece other than a run, a run wrong by several LEDs, or a
# feed that the display file does not have, is rarer than others of its kind: an assumption.
_ODD_PLACE = 2.3
_MOST_COLOURS, _SHARE_COLOURS = 4, 0.01  # single LEDs, and share of all, that may lack a colour

# A cause is not named if more of its LEDs stay unexplained; or, for one of so few LEDs, any beside.
_UNSURE, _NEAR = 0.2, 3


@dataclass(frozen=True, eq=False)
class Cause:
    """A fault that explains part of what is seen.

    faults: those that fit equally well, the most likely first. leds: (K,) positions of the LEDs
    that it changes, beside the other causes.
    """

    faults: tuple[Fault, ...]
    leds: Ints

    @property
    def fault(self) -> Fault:
        """The most likely."""
        return self.faults[0]


@dataclass(frozen=True, eq=False)
class Causes:
    """found: the causes. left: (M,) positions of LEDs that none of them explains. expected: the
    readings (N,) with all causes. vague: (V,) positions of LEDs that lack a colour in the film, as
    so many others do: more likely the film's fault than theirs.
    """

    found: tuple[Cause, ...]
    left: Ints
    expected: Readings
    vague: Ints

    @property
    def recoloured(self) -> Bools:
        """(N,) LEDs that lack a colour or all light, so that nobody can say how bright they are."""
        odd = (self.expected.number < 0) | ~self.expected.lit.all(axis=1)
        odd[self.left] = odd[self.vague] = True
        return np.asarray(odd)


class _Tried(NamedTuple):
    """Of F candidates. slips: (F,) of the whole wall with each. looks: (F,) equal where the film
    could not tell the walls apart. steady: (F,) whether volts and chance have no part in it."""

    slips: Floats
    looks: NDArray[np.uint64]
    steady: NDArray[np.bool_]


def causes(display: Display, film: Readings) -> Causes:
    """The faults of a display whose file has none."""
    return _Search(display, film).run()


@dataclass(eq=False)
class _Search:
    display: Display
    film: Readings
    known: list[Fault] = field(default_factory=list)
    places: dict[str, int] = field(default_factory=dict)
    vague: Ints = field(default_factory=lambda: np.zeros(0, dtype=np.int64))

    def run(self) -> Causes:
        classes: list[tuple[Fault, ...]] = []
        while len(classes) < _MOST:
            best = self._next(_MANY)
            if best is None:
                break
            classes.append(best)
            self.known.append(best[0])
        classes = self._needed([*classes, *self._single()])
        while True:
            found = self._with_leds(classes)
            kept = [one for one in found.found if not self._doubtful(one, found.left)]
            if len(kept) == len(found.found):
                return found
            classes = [one.faults for one in kept]

    def _with_leds(self, classes: Sequence[tuple[Fault, ...]]) -> Causes:
        """The causes with what each changes, and what they leave."""
        known = [one[0] for one in classes]
        whole = self.expected(known)
        found = []
        for number, one in enumerate(classes):
            without = self.expected(known[:number] + known[number + 1 :])
            found.append(Cause(one, self._apart(whole, without)))
        return Causes(tuple(found), np.flatnonzero(slips(whole, self.film) >= 1), whole, self.vague)

    def _doubtful(self, cause: Cause, left: Ints) -> bool:
        """Whether so much is unexplained where a cause acts that another one may be behind all."""
        own = np.isin(cause.leds, left)
        if own.mean() > _UNSURE:
            return True
        first, last = cause.leds.min(), cause.leds.max()
        beside = left[(left >= first - _NEAR) & (left <= last + _NEAR)]
        return bool(cause.leds.size <= _NEAR and beside.size)

    def expected(self, faults: Sequence[Fault]) -> Readings:
        """The readings (N,) of the wall with some faults."""
        return of_facts(
            deviations(self.display, (), (), self._settled([faults])[0].built).planned, self.display
        )

    def _next(self, least: int) -> tuple[Fault, ...] | None:
        """The candidates that explain most, if that pays, and at least so many LEDs."""
        expected = self.expected(self.known)
        before = slips(expected, self.film)
        if (before >= 1).sum() < least:
            return None
        built = self._settled([self.known])[0].built
        candidates = moving(self.display, built, expected, self.film)
        return self._best(candidates, float(before.sum()), least)

    def _best(
        self, candidates: Sequence[Fault], before: float, least: int
    ) -> tuple[Fault, ...] | None:
        if not candidates:
            return None
        tried = self._try(candidates)
        rare = self._rarity(candidates)
        score = np.where(tried.steady, rare + _A_SLIP * (before - tried.slips), -np.inf)
        best = int(score.argmax())
        if score[best] < _PAYS or before - tried.slips[best] < least - _AS_WELL:
            return None
        as_well = (tried.slips <= tried.slips[best] + _AS_WELL) | (tried.looks == tried.looks[best])
        which = np.flatnonzero(as_well & tried.steady)
        order = sorted(which.tolist(), key=lambda n: (n != best, -score[n]))
        return tuple(candidates[n] for n in order)

    def _single(self) -> list[tuple[Fault, ...]]:
        """Faults of single LEDs, for what is left. They act on LEDs of their own, so that all are
        tried at once."""
        expected = self.expected(self.known)
        self._set_vague_aside(expected)
        before = slips(expected, self.film)
        wrong = np.flatnonzero(before >= 1)
        if not wrong.size:
            return []
        candidates = local(wrong, self.display)
        tried = self._try(candidates)
        rare = self._rarity(candidates)
        gain = before.sum() - tried.slips
        score = np.where(tried.steady, rare + _A_SLIP * gain, -np.inf)
        pays = (score > _PAYS) & (gain > 1 - _AS_WELL)
        found: list[tuple[Fault, ...]] = []
        for look in dict.fromkeys(tried.looks[pays].tolist()):
            which = np.flatnonzero(pays & (tried.looks == look))
            order = which[np.argsort(-score[which], kind="stable")].tolist()
            found.append(tuple(candidates[n] for n in order))
        self.known += [one[0] for one in found]
        return found

    def _set_vague_aside(self, expected: Readings) -> None:
        """Colours that so many LEDs lack, with their numbers read, are taken as not known."""
        film = self.film
        reads = (film.number == expected.number) & (film.number >= 0)
        lacks = reads[:, None] & expected.lit & ~film.lit
        most = max(_MOST_COLOURS, _SHARE_COLOURS * reads.sum())
        many = lacks & ((lacks & film.known).sum(axis=0) > most)
        self.film = replace(film, known=film.known & ~many)
        self.vague = np.flatnonzero(many.any(axis=1))

    def _needed(self, classes: Sequence[tuple[Fault, ...]]) -> list[tuple[Fault, ...]]:
        """Those without which more would be unexplained."""
        kept = list(classes)
        for one in classes:
            rest = [other for other in kept if other is not one]
            with_, without = (
                slips(self.expected([other[0] for other in some]), self.film).sum()
                for some in (kept, rest)
            )
            if without - with_ < 1 - _AS_WELL:
                kept = rest
        return kept

    def _rarity(self, candidates: Sequence[Fault]) -> Floats:
        """(F,) natural logarithm of the prior odds of each candidate."""
        for kind in {type(one) for one in candidates if one.name not in PER_PLACE}:
            if kind.name not in self.places:
                self.places[kind.name] = max(sum(1 for _ in kind.everywhere(self.display)), 1)
        odd = np.array([_is_odd(one, self.display) for one in candidates])
        return np.asarray(np.log(prior_odds(candidates, self.places)) - _ODD_PLACE * odd)

    def _try(self, candidates: Sequence[Fault]) -> _Tried:
        """Each candidate beside the faults that are known."""
        reference = self._settled([self.known])[0].built
        manners = []

        def built() -> Iterator[Built]:
            for one in self._settle([(*self.known, one) for one in candidates]):
                manners.append(one.manner)
                yield one.built if one.manner == "steady" else reference

        walls = deviations(self.display, built(), (), reference)
        steady = np.array(manners) == "steady"
        planned, other = (of_facts(facts, self.display) for facts in (walls.planned, walls.other))
        before = slips(planned, self.film)
        each = slips(other, self.film) - before[other.position]
        sums = np.bincount(walls.wall, each[walls.which], minlength=walls.walls)
        looks = self._told(other) - self._told(planned)[other.position]
        return _Tried(before.sum() + sums, of_walls(walls, looks), steady)

    def _told(self, readings: Readings) -> NDArray[np.uint64]:
        """(U,) numbers, equal where the film could not tell two readings of an LED apart."""
        seen = self.film.some(readings.position)
        light = np.where(readings.number == DARK, DARK, UNREAD)
        number = np.where(seen.number >= 0, readings.number, light)
        number = np.where(seen.number == UNKNOWN, UNKNOWN, number)
        lit = (readings.lit & seen.known) @ np.array([1, 2, 4, 8])
        return hashes(np.stack([readings.position, number, lit], axis=1))

    def _apart(self, one: Readings, other: Readings) -> Ints:
        """The LEDs that the film could tell apart."""
        return np.flatnonzero(self._told(one) != self._told(other))

    def _settled(self, walls: Sequence[Sequence[Fault]]) -> list[Settled]:
        return list(self._settle(walls))

    def _settle(self, walls: Sequence[Sequence[Fault]]) -> Iterator[Settled]:
        for begin in range(0, len(walls), _AT_ONCE):
            some = [tuple(wall) for wall in walls[begin : begin + _AT_ONCE]]
            yield from settle(self.display, some, self._loads_a)

    @cached_property
    def _loads_a(self) -> Floats:
        """(1, N) currents that no picture of the film exceeds."""
        on = np.full((1, *self.display.picture_shape), film_level(self.display), dtype=np.uint8)
        return np.asarray(nominal_a(sent_drives(on, self.display), self.display.chip))


def _is_odd(fault: Fault, display: Display) -> bool:
    """Whether a fault has a place or a size that is rarer than others of its kind."""
    place = fault.place
    if "first" in place:
        piece = place["line"], place["first"], place["last"]
        return piece not in {(run.line, run.first, run.last) for run in display.wiring.runs}
    if "feed" in place and not display.power.feed:  # it is only assumed to be there
        return True
    return place.get("leds", 1) != 1
