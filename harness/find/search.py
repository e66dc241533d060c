"""The search for the faults of one wall: answers in, probabilities and the next picture out.

All suspects are single faults beside those that are known to be in the wall. If no single one
explains the answers, the search takes a few together: it adds the suspect that explains most of
what is left, as long as that pays for its rarity. Several act on LEDs of their own there, which is
exact unless one moves the data of another. A fault that has been found is then part of the wall,
exactly.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bools, Floats, Ints
from emulator.description.display import Display
from emulator.description.faults.fault import Fault
from harness.campaign.campaign import Progress
from harness.campaign.eye import NOT_LIT
from harness.find.answer import FLICKER, UNSURE, Seen, Symbols, log_likelihood
from harness.find.belief import (
    ENOUGH,
    Belief,
    best_question,
    expected_bits,
    places,
    probabilities,
)
from harness.find.chance import ByChance
from harness.find.electric import old
from harness.find.loose import CHANGES, OLD, OPEN, WHOLE, Loose
from harness.find.pictures import MOVING, Question
from harness.find.priors import RIGHT, prior_odds
from harness.find.table import Table, build

MOST_ASKED = 30  # for one fault: then the search names what is most likely
_WITH_CHANCE = 8  # as MOST_ASKED, between a fault that acts by chance and another
# Of a line that chance spoils (assumptions, no source): how likely it is to look as another fault
# in one picture more; and how many times as likely this is of one that spoils the whole line.
_AGAIN = 0.5
_WHOLE_LINE = 10.0
_KEEP = 256  # results of (F,) in memory
_MOST_TOGETHER = 4  # suspects that explain the answers together
_PAYS = 2.0  # natural logarithm of the odds by which one more must explain better


@dataclass(frozen=True, eq=False)
class Given:
    """An answer: the number of the picture, the words (N,), and the faults known in the wall."""

    number: int
    seen: Seen
    present: tuple[Fault, ...] = ()


class _Grouped(NamedTuple):
    """What pictures make of suspects beside faults that are present.

    groups: (F + 1, Q) those of one number are expected to look the same under a picture. place:
    (F + 1,) the class of each. unseen: (F + 1,) whether no picture shows it. shares: (lines, F + 1)
    of the LEDs of a line that each changes, 0 if it changes others, too.
    """

    groups: Ints
    place: Ints
    unseen: Bools
    shares: Floats


@dataclass(eq=False)
class Search:
    """Answers about one wall. colours: whether the person names colours, or paints.

    display: without faults. suspects: of F faults. asked: the pictures. answers: so far. known:
    faults that are in the wall and stay. out: suspects that have been measured and are whole.
    """

    display: Display
    suspects: tuple[Fault, ...]
    asked: tuple[Question, ...]
    colours: bool = True
    progress: Progress = lambda steps, _: steps
    answers: list[Given] = field(default_factory=list)
    known: tuple[Fault, ...] = ()
    out: set[int] = field(default_factory=set)
    tables: dict[tuple[Fault, ...], Table] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._known_at_first = self.known
        self._asked_since = 0  # the last fault was found
        self._prior = np.append(np.log(prior_odds(self.suspects)), np.log(RIGHT))
        self._seconds = np.array([one.seconds for one in self.asked])
        self._moving = [n for n, one in enumerate(self.asked) if one.step == MOVING]
        self._black = [n for n, one in enumerate(self.asked) if not one.pictures.any()]
        self._lines = np.array([int(str(o.place.get("line", -1))) for o in self.suspects])
        self._kept: dict[tuple[object, ...], Floats] = {}
        self._grouped: dict[tuple[Fault, ...], _Grouped] = {}
        self.by_chance = ByChance(self.display, self.suspects, self.colours)
        self._loose = Loose(self.suspects, self.by_chance.numbers)

    @property
    def nothing(self) -> int:
        """The number of 'no further fault' among the suspects."""
        return len(self.suspects)

    def table(self, present: tuple[Fault, ...]) -> Table:
        """What is seen of all suspects beside faults that are present; calculated once."""
        if present not in self.tables:
            made = build(self.display, self.suspects, self.asked, present, self.progress)
            self.tables[present] = replace(made, faults=made.faults + 1)  # and nothing
        return self.tables[present]

    def prepare(self) -> None:
        """Calculate what is seen of all suspects now, and not with the first answer."""
        self._of_table(self.known)

    def tell(self, number: int, seen: Seen) -> None:
        """Take an answer about a picture."""
        self.answers.append(Given(number, seen, self.known))
        self._asked_since += 1

    def forget(self) -> None:
        """Forget all answers and results."""
        self.answers.clear()
        self.out.clear()
        self.known, self._asked_since = self._known_at_first, 0

    def found(self, fault: Fault, fixed: bool) -> None:
        """A fault has been found. If it stays in the wall, it was there for all answers, too; a
        wall that has been repaired is another one, and all answers about the old one go."""
        self._asked_since = 0
        if fixed:
            self.answers.clear()
            return
        self.known = _with(self.known, fault)
        self.answers = [replace(one, present=_with(one.present, fault)) for one in self.answers]

    def belief(self) -> Belief:
        """What the answers say now."""
        place = self._of_table(self.known).place
        beside: tuple[int, ...] = ()
        score = self._score(beside)
        while len(beside) + 1 < _MOST_TOGETHER:
            top = int(score.argmax())
            if top == self.nothing or top in beside:
                break
            more = self._score((*beside, top))
            if more.max() < score.max() + _PAYS or int(more.argmax()) == self.nothing:
                break
            beside, score = (*beside, top), more
        return self._surest(beside, score, place)

    def next_question(self, belief: Belief) -> tuple[int, float] | None:
        """The picture that tells most a second, and its bits; None if none tells enough.

        Pictures that have been answered for this wall come again only if nothing else helps. What
        tells chance from a joint are pictures that move, and a dark one.
        """
        chance = self._chance_has_a_part(belief)
        if self._asked_since >= (_WITH_CHANCE if chance else MOST_ASKED):
            return None
        groups = self._of_table(self.known).groups
        since = [one.number for one in self.answers if (one.seen != UNSURE).any()]
        if chance:
            for number in (*self._moving, *self._black):
                if number not in since:
                    return number, expected_bits(groups[:, number], belief.probability)
        unsure = [one.number for one in self.answers[-1:] if (one.seen == UNSURE).all()]
        for often in (0, 1, 2):
            but = {number for number in since if since.count(number) > often} | set(unsure)
            found = best_question(groups, self._seconds, belief.probability, but)
            if found is not None:
                return found
        return None

    def _chance_has_a_part(self, belief: Belief) -> bool:
        """Whether one of two places that have enough together is spoilt by chance: then more
        pictures hardly help."""
        two = belief.ranked(2)
        by_chance = {int(belief.place[number]) for number in self.by_chance.numbers}
        return float(belief.of_place[two].sum()) >= ENOUGH and not by_chance.isdisjoint(two)

    def differs(self, suspect: int, beside: tuple[int, ...]) -> tuple[float, int]:
        """How many cells of the answers differ from what a suspect shows, and of how many."""
        at = np.flatnonzero(self._loose.numbers == suspect)
        slips = 0.0
        for number, given in enumerate(self.answers):
            of_ways = (
                self._of_ways(number, beside)[:, at]
                if at.size
                else self._slips(given, beside)[suspect]
            )
            slips += float(np.min(of_ways))
        return slips, sum(int((given.seen != UNSURE).sum()) for given in self.answers)

    def _surest(self, beside: tuple[int, ...], score: Floats, place: Ints) -> Belief:
        """Of several that are there together, the belief about the one that is clearest."""
        loose = self._loose
        twins = np.stack([loose.lasting, loose.numbers], axis=1)
        last = Belief(probabilities(score), place, beside, twins)
        if not beside:
            return last
        members = (*beside, int(score.argmax()))
        beliefs = [last]
        for one in beside:
            others = tuple(other for other in members if other != one)
            beliefs.append(
                replace(last, probability=probabilities(self._score(others)), beside=others)
            )
        return max(beliefs, key=lambda one: float(one.of_place.max()))

    def _score(self, beside: tuple[int, ...]) -> Floats:
        """(F + 1,) logarithm of the odds of each suspect, with `beside` there as well."""
        slips = np.zeros(len(self._prior))
        cells = 0.0
        for given in self.answers:
            slips += self._slips(given, beside)
            cells += float((given.seen != UNSURE).sum())
        fits = log_likelihood(slips, cells)
        fits[self._loose.numbers] = self._loose.log_likelihood(
            [self._of_look(number, beside) for number in range(len(self.answers))]
        )
        score = self._prior + fits + self._prior[list(beside)].sum()
        score += self._by_chance(score, beside)
        score[self._of_table(self.known).unseen] = -np.inf  # nobody can find it
        score = self._taken_for_others(score)
        score[[*self.out, *beside]] = -np.inf
        return np.asarray(score)

    def _by_chance(self, score: Floats, beside: tuple[int, ...]) -> Floats:
        """(F + 1,) what to add to the score for the answers about lines that chance spoils."""
        found, numbers = np.zeros_like(score), self.by_chance.numbers
        best = np.delete(score, numbers).max()
        found[numbers] = self.by_chance.log_likelihood(
            [(self.asked[given.number], given.seen) for given in self.answers],
            best - score[numbers],
        )
        return np.asarray(found + found[list(beside)].sum())

    def _taken_for_others(self, score: Floats) -> Floats:
        """Scores, in which what spoils data by chance may look like any other fault of its line.

        It may do so in one picture, and hardly in many; the more so, the more LEDs the other
        spoils, and most if it spoils the whole line.
        """
        shares = self._of_table(self.known).shares
        looks = sum((given.seen != UNSURE).any() for given in self.answers)
        found = score.copy()
        numbers = np.array(self.by_chance.numbers, dtype=np.int64)
        for line, share in enumerate(shares):
            of_line = numbers[self._lines[numbers] == line]
            others = np.flatnonzero(share)
            if of_line.size and others.size and looks:
                taken = np.log(np.where(share[others] < 1, share[others], _WHOLE_LINE))
                alike = np.logaddexp.reduce(score[others] + taken)
                alike -= np.logaddexp.reduce(self._prior[others] + taken)
                alike += self._prior[of_line] + looks * np.log(_AGAIN)
                found[of_line] = np.logaddexp(score[of_line], alike)
        return found

    def _slips(self, given: Given, beside: tuple[int, ...]) -> Floats:
        """(F + 1,) how many cells differ from what each suspect shows while it is there."""
        key = given.number, given.present, beside, given.seen.tobytes()
        return self._once(key, lambda: self._slips_of(given, beside))

    def _slips_of(self, given: Given, beside: tuple[int, ...]) -> Floats:
        table = self.table(given.present)
        slips = table.slips(given.number, given.seen, beside)
        if self._still(given):
            return slips
        # Who looks at a moving picture may not see that an LED is out of step with the others.
        symbols, meant = table.symbols[given.number], table.reference[given.number, table.position]
        in_step = np.where((symbols == NOT_LIT) | (symbols == FLICKER), symbols, meant)
        return np.minimum(slips, table.slips(given.number, given.seen, beside, in_step))

    def _of_ways(self, number: int, beside: tuple[int, ...]) -> Floats:
        """(4, K) how many cells of an answer differ from each way a loose joint may be."""
        given, table = self.answers[number], self.table(self.answers[number].present)
        loose, still = self._loose, [n for n in range(len(self.asked)) if n not in self._moving]
        down = (table.symbols[still] == FLICKER).any(axis=0)  # without a supply while it is open
        slips = self._slips(given, beside)
        found = np.tile(slips[loose.numbers], (4, 1))
        found[WHOLE] = slips[self.nothing]
        found[[OPEN, OLD]] = slips[loose.lasting]

        def or_as(way: int, symbols: Symbols) -> None:
            slips = table.slips(given.number, given.seen, beside, symbols)[loose.numbers]
            found[way] = np.where(loose.joints, np.minimum(found[way], slips), found[way])

        if self._moving:
            or_as(CHANGES, table.symbols[self._moving[0]])
        for before in np.unique([one.number for one in self.answers[: number + 1]]).tolist():
            for every in old(self.display, self.asked[before], self.asked[given.number]):
                kept = every[table.position]
                late = np.where(
                    kept == table.reference[given.number, table.position], kept, FLICKER
                )
                or_as(OLD, np.where(down, NOT_LIT, kept).astype(np.uint8))
                or_as(CHANGES, np.where(down, FLICKER, late).astype(np.uint8))
        return found

    def _of_look(self, number: int, beside: tuple[int, ...]) -> Floats:
        """What `Loose.of_look` says of an answer."""
        given = self.answers[number]
        before = frozenset(one.number for one in self.answers[:number])
        key = given.number, given.present, beside, given.seen.tobytes(), before
        cells = int((given.seen != UNSURE).sum())
        return self._once(
            key,
            lambda: self._loose.of_look(self._of_ways(number, beside), cells, self._still(given)),
        )

    def _still(self, given: Given) -> bool:
        return self.asked[given.number].step != MOVING

    def _once(self, key: tuple[object, ...], calculate: Callable[[], Floats]) -> Floats:
        if key not in self._kept:
            if len(self._kept) >= _KEEP:
                self._kept.clear()
            self._kept[key] = calculate()
        return self._kept[key]

    def _of_table(self, present: tuple[Fault, ...]) -> _Grouped:
        if present not in self._grouped:
            signatures = self.table(present).signatures(self.colours)
            groups = _numbered(signatures)
            unseen = (groups == groups[self.nothing]).all(axis=1)
            unseen[self.nothing] = False
            if self._moving:  # what chance spoils shows most surely there
                still = np.setdiff1d(np.arange(len(self.asked)), self._moving)
                groups[np.ix_(np.array(self.by_chance.numbers, dtype=np.int64), still)] = groups[
                    self.nothing, still
                ]
            shares = self._shares_of_lines(self.table(present))
            self._grouped[present] = _Grouped(groups, places(signatures), unseen, shares)
        return self._grouped[present]

    def _shares_of_lines(self, table: Table) -> Floats:
        """(lines, F + 1) the share of a line's LEDs with a cell that a suspect changes, if it
        changes only this line, and is not of those that act by chance; else 0."""
        wiring = self.display.wiring
        lines = len(wiring.line_lengths)
        at = table.position[table.which]
        seen = ~wiring.hidden[at]
        place = wiring.line[at[seen]] * table.faults + table.fault[seen]
        flat = np.bincount(place, minlength=lines * table.faults)
        changed = flat.reshape(lines, table.faults)
        changed[:, (changed > 0).sum(axis=0) > 1] = 0
        changed[:, self.by_chance.numbers] = 0
        held = np.bincount(wiring.line[wiring.placed], minlength=lines)
        return np.asarray(changed / np.maximum(held, 1)[:, None])


def _numbered(signatures: NDArray[np.uint64]) -> Ints:
    """Signatures (F, Q) as small numbers, column by column."""
    columns = [np.unique(column, return_inverse=True)[1].ravel() for column in signatures.T]
    return np.stack(columns, axis=1)


def _with(present: tuple[Fault, ...], fault: Fault) -> tuple[Fault, ...]:
    return present if fault in present else (*present, fault)
