"""A campaign: every single fault of a wall against every pattern."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bools, Ints
from emulator.description.display import Display
from emulator.description.faults.fault import Fault
from emulator.description.faults.kinds import KINDS
from emulator.errors import of_extra
from harness.campaign.facts import Hashes
from harness.campaign.part import Part, Trial
from harness.campaign.running import HERE, Took, Where, run_parts
from harness.campaign.settled import Wall, parts_of
from harness.campaign.smallest import Smallest, hitting, telling_apart
from harness.campaign.watch import OBSERVERS
from harness.patterns.pattern import Pattern, patterns_for_people

Progress = Callable[[Sequence[int], str], Iterable[int]]

_JOINTS = ("data-open", "power-joint", "feed-joint", "bus-joint")


@dataclass(frozen=True, eq=False)
class Observed:
    """What one observer has of F faults under P patterns.

    signatures: (F, P) equal where the observer sees the same; 0: nothing differs from the plan.
    makes: (F,) equal for faults that make the same wall; 0: the wall is as planned.
    seconds: (P,) how long each pattern takes.
    """

    signatures: Hashes
    makes: Hashes
    seconds: NDArray[np.float64]

    @property
    def matrix(self) -> Bools:
        """(F, P) whether a pattern shows the fault."""
        return np.asarray(self.signatures != 0)

    @property
    def detected(self) -> Bools:
        """(F,) whether any pattern shows the fault."""
        return np.asarray(self.matrix.any(axis=1))

    @cached_property
    def classes(self) -> Ints:
        """(F,) the number of the class of each fault: those of a class look alike always."""
        return np.unique(self.signatures, axis=0, return_inverse=True)[1].ravel()

    @property
    def named(self) -> Bools:
        """(F,) whether the patterns lead to this fault: it is detected, and all that look like it
        make the same wall."""
        pairs = np.unique(np.stack([self.classes.astype(np.uint64), self.makes], axis=1), axis=0)
        walls = np.bincount(pairs[:, 0].astype(np.int64))
        return np.asarray(self.detected & (walls[self.classes] == 1))

    @property
    def alone(self) -> Bools:
        """(F,) whether a fault is detected and the only one of its class."""
        return np.asarray(self.detected & (np.bincount(self.classes)[self.classes] == 1))

    @cached_property
    def detecting(self) -> Smallest:
        """The fewest patterns that show all that any pattern shows."""
        return hitting(self.matrix[self.detected], self.seconds)

    @cached_property
    def distinguishing(self) -> Smallest:
        """The fewest patterns that tell apart all classes, and each from the wall as planned."""
        planned = np.zeros((1, self.signatures.shape[1]), dtype=np.uint64)
        return telling_apart(np.concatenate([self.signatures, planned]), self.seconds)

    def told_apart(self, pattern: int) -> int:
        """How many groups of faults a pattern alone tells apart, without those it does not show."""
        seen = np.unique(self.signatures[:, pattern])
        return int((seen != 0).sum())


@dataclass(frozen=True, eq=False)
class Pairs:
    """Walls with two faults each, and what the observers see of them."""

    walls: tuple[Wall, ...]
    exact: Observed
    eye: Observed
    camera: Observed

    @property
    def missed(self) -> list[Wall]:
        """The pairs that change something, but no pattern shows them to an eye."""
        missed = np.flatnonzero((self.eye.makes != 0) & ~self.eye.detected)
        return [self.walls[number] for number in missed.tolist()]


@dataclass(frozen=True, eq=False)
class Campaign:
    """F faults of a display, P patterns, and what three observers see of them.

    exact: somebody who reads all drives; light is unknown to them. eye: a person before the wall.
    camera: what a program would read from pictures of it. pairs: what they see of two faults at
    once. took: how long it took.
    """

    display: Display
    faults: tuple[Fault, ...]
    patterns: tuple[Pattern, ...]
    exact: Observed
    eye: Observed
    camera: Observed
    pairs: Pairs
    took: Took

    @property
    def changes(self) -> Bools:
        """(F,) whether a fault changes what an LED with a cell does, for any data."""
        return np.asarray(self.eye.makes != 0)

    @property
    def survivors(self) -> list[tuple[Fault, str]]:
        """The faults that no pattern shows to an eye, and why."""
        undetected = np.flatnonzero(~self.eye.detected).tolist()
        return [(self.faults[number], self._why(number)) for number in undetected]

    def _why(self, number: int) -> str:
        """Why no pattern shows a fault to an eye."""
        if not self.changes[number]:
            if self.exact.makes[number]:
                return "it changes only LEDs without a cell"
            if self.faults[number].stage == "power":
                return "every LED keeps enough volts for every picture"
            return "it changes nothing"
        if self.faults[number].stage == "power":
            return "its volts never fall far enough for an eye"
        if not self.exact.makes[number]:
            return "its light never differs enough for an eye"
        if self.exact.detected[number]:
            return "its drives never differ enough for an eye"
        return "no pattern sends what it changes"

    @property
    def alike(self) -> list[list[Fault]]:
        """The classes of two or more faults that look alike to an eye under every pattern."""
        order = np.argsort(self.eye.classes, kind="stable")
        groups = np.split(order, np.flatnonzero(np.diff(self.eye.classes[order])) + 1)
        return [
            [self.faults[number] for number in group]
            for group in groups
            if len(group) > 1 and self.eye.detected[group[0]]
        ]

    @property
    def kinds(self) -> dict[str, Ints]:
        """The numbers of the faults of each kind."""
        names = np.array([fault.name for fault in self.faults])
        return {str(name): np.flatnonzero(names == name) for name in Counter(names.tolist())}


MOST_PICTURES = 1024  # of a pattern; its work grows as these times faults times LEDs


def usual_patterns(display: Display) -> tuple[tuple[Pattern, ...], tuple[Pattern, ...]]:
    """All patterns for people: those that a campaign plays, and those with too many pictures on
    this wall, such as `chase` on more than MOST_PICTURES LEDs."""
    every = patterns_for_people()
    short = [one for one in every if one.steps(display) <= MOST_PICTURES]
    return tuple(short), tuple(one for one in every if one not in short)


NOW_AND_THEN = 0.1  # share of the time that a loose joint is open


def single_faults(display: Display) -> tuple[Fault, ...]:
    """Each kind at each place of a display; joints also as loose ones, open now and then."""
    return tuple(
        one
        for kind in KINDS.values()
        for fault in kind.everywhere(display)
        for one in _also_loose(fault)
    )


def _also_loose(fault: Fault) -> Iterator[Fault]:
    yield fault
    if fault.name in _JOINTS and fault.place.get("ohm", "open") == "open":
        yield fault.model_copy(update={"share": NOW_AND_THEN})


def sampled_pairs(faults: Sequence[Fault], count: int) -> tuple[Wall, ...]:
    """So many different pairs of faults, always the same ones; all if there are no more."""
    of = len(faults)
    whole = of * (of - 1) // 2
    if count >= whole:
        return tuple(combinations(faults, 2))
    rng, chosen = np.random.default_rng(0), dict[tuple[int, int], None]()
    while len(chosen) < count:
        one, other = sorted(rng.integers(0, of, 2).tolist())
        if one != other:
            chosen[one, other] = None
    return tuple((faults[one], faults[other]) for one, other in chosen)


def run_campaign(
    display: Display,
    progress: Progress = lambda steps, _: steps,
    patterns: Sequence[Pattern] | None = None,
    faults: Iterable[Fault] | None = None,
    pairs: int = 0,
    where: Where = HERE,
) -> Campaign:
    """Every single fault against every pattern. Faults of the display file are left out.

    patterns: default: `usual_patterns`. faults: default: `single_faults`. pairs: how many pairs of
    them to try as well. progress: gets the steps of a part and its name, and gives them back one by
    one. where: what runs it; results do not depend on it.
    Raises UnsupportedError if scipy, or Dask for a cluster, is missing.
    """
    with of_extra("campaign", "a campaign needs scipy"):
        import scipy.optimize  # noqa: F401
    display = replace(display, faults=())
    faults = single_faults(display) if faults is None else tuple(faults)
    if patterns is None:
        patterns, _ = usual_patterns(display)
    patterns = tuple(patterns)
    trial = Trial.of(display, patterns, faults)
    both = sampled_pairs(faults, pairs)
    walls = [*((fault,) for fault in faults), *both]
    numbers = parts_of(display, walls)
    jobs = [[walls[number] for number in some] for some in numbers]
    ticks = iter(progress(range(len(jobs)), "faults"))
    parts, took = run_parts(trial, jobs, where, lambda: next(ticks, None))
    next(ticks, None)  # the end of the progress
    seconds = np.array([one.lasts_s(display) for one in patterns])
    single, double = (
        {name: _observed(name, parts, numbers, which, seconds) for name in OBSERVERS}
        for which in (range(len(faults)), range(len(faults), len(walls)))
    )
    return Campaign(display, faults, patterns, **single, pairs=Pairs(both, **double), took=took)


def _observed(
    name: str,
    parts: Sequence[Part],
    numbers: Sequence[Ints],
    which: range,
    seconds: NDArray[np.float64],
) -> Observed:
    """What an observer has of some of the walls, from the parts, whose walls have these numbers."""
    walls = sum(some.size for some in numbers)
    signatures = np.zeros((walls, len(seconds)), dtype=np.uint64)
    made = np.zeros(walls, dtype=np.uint64)
    for part, some in zip(parts, numbers, strict=True):
        signatures[some], made[some] = part.signatures[name], part.makes[name]
    at = slice(which.start, which.stop)
    return Observed(signatures[at], made[at], seconds)
