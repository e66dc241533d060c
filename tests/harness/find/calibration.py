"""How often what `foreglow find` is sure of is right: `python -m tests.harness.find.calibration`.

Walls with one fault each, drawn as the priors say, in three groups: steady faults; joints that come
and go, with any share of the time and any length of the spells; and lines whose data chance spoils,
of any strength. Those of the last two groups are played on a bench, which draws its own chance: no
look is that of another. Each answer to 'how sure?' is laid beside how often it was right.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass

import numpy as np

from emulator.bench import Bench
from emulator.clock import SECOND_NS
from harness.campaign.eye import Eye
from harness.campaign.watch import sent_drives
from harness.find.answer import FINE, FLICKERS, spoken
from harness.find.chance import _strength
from harness.find.loose import possible_faults
from harness.find.pictures import questions
from harness.find.search import Search
from tests.harness.find.observer import painted
from tests.harness.find.rates import fresh, hunt, wall

GROUPS = ("steady", "comes and goes", "chance")
SPELL_S = 0.05, 300.0  # of a joint that comes and goes; even in the logarithm
LOOK_S = 8  # of a person at a picture
SENDS = 16  # of it meanwhile
BINS = 0.5, 0.8, 0.95, 0.99, 0.999, 1.0  # upper ends


@dataclass
class Said:
    """One search. sure: said of the place in the end; right: it is there; weight: by the priors."""

    fault: str
    sure: float
    right: bool
    asked: int
    named: str
    weight: float = 1.0


class Person:
    """Looks at a wall with a fault that comes and goes, from power-on."""

    def __init__(self, search, fault, rng):
        self._search, self._eye = search, Eye(search.display, [])
        self._bench = Bench(search.display, faults=[fault], keep=2 * SENDS)
        self._rng = rng

    def __call__(self, number):
        bench, question, display = self._bench, self._search.asked[number], self._search.display
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
        seen = np.where(same, spoken(each[0].max(axis=0), self._search.colours), FLICKERS)
        seen[display.wiring.hidden] = FINE
        return seen.astype(np.uint8)


def other(fault, group, rng):
    """A fault of the same kind at the same place, as a wall may have it."""
    seed = int(rng.integers(1 << 20))
    if group == "comes and goes":
        share = 1 / (1 + np.exp(-rng.uniform(-3, 3)))
        spell_s = np.exp(rng.uniform(*np.log(SPELL_S)))
        change = {"share": round(float(share), 3), "spell_s": round(float(spell_s), 3)}
    else:
        change = _strength(fault, rng)
    return fault.model_copy(update={**change, "seed": seed})


def groups_of(search):
    """The suspects of each group that an eye sees."""
    seen = (search.table(()).signatures(search.colours)[:-1] != 0).any(axis=1)
    loose = np.array([one.comes_and_goes for one in search.suspects])
    chance = np.isin(np.arange(len(search.suspects)), search.by_chance.numbers)
    return [np.flatnonzero(seen & ~loose & ~chance), np.flatnonzero(seen & loose & ~chance),
            np.flatnonzero(chance)]  # fmt: skip


def play(base, group, number, rng):
    """One search for a fault like that suspect; None if nothing of it was ever seen."""
    search = fresh(base, False)
    if group == "steady":
        table, fault = search.table(()), search.suspects[number]
        look = lambda picture: painted(table.shown(picture, [number]))  # noqa: E731
    else:
        fault = other(search.suspects[number], group, rng)
        look = Person(search, fault, rng)
    _, asked, belief = hunt(search, number, look)
    if not any(one.seen.any() for one in search.answers):
        return None
    members = belief.members(belief.best).tolist()
    right = number in members or number in belief.beside_members(belief.best)
    named = "nothing" if search.nothing in members else str(search.suspects[members[0]])
    return Said(str(fault), belief.sureness, right, asked, named)


def played(base, many, rng):
    """Many searches of each group, weighed by how often the group is there."""
    found = []
    odds = np.exp(base._prior[:-1])
    for group, numbers in zip(GROUPS, groups_of(base), strict=True):
        if not numbers.size:
            continue
        some = rng.choice(numbers, many, p=odds[numbers] / odds[numbers].sum())
        done = [play(base, group, int(number), rng) for number in some]
        seen = [one for one in done if one is not None]
        for one in seen:
            one.weight = odds[numbers].sum() / many
        found.append((group, seen))
    return found


def bins(said):
    """For each bin that has any: said on average, right, and how many; weighed."""
    low = 0.0
    for high in BINS:
        some = [one for one in said if low < one.sure <= high]
        low = high
        if some:
            weight = np.array([one.weight for one in some])
            weight /= weight.sum()
            yield (float(weight @ [one.sure for one in some]),
                   float(weight @ [one.right for one in some]), len(some))  # fmt: skip


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("walls", nargs="*", default=["sign"])
    parser.add_argument("--many", type=int, default=40, help="of each group")
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args()
    for name in arguments.walls:
        display = wall(name)
        base = Search(display, possible_faults(display), questions(display), colours=False)
        groups = played(base, arguments.many, np.random.default_rng(arguments.seed))
        every = [one for _, said in groups for one in said]
        for group, said in [*groups, ("all, as often as the priors say", every)]:
            asked = np.median([one.asked for one in said])
            print(f"{name}, {group}: {len(said)} seen, right "
                  f"{np.average([o.right for o in said], weights=[o.weight for o in said]):.1%}, "
                  f"median {asked:g} questions")  # fmt: skip
            for sure, right, count in bins(said):
                print(f"    said {sure:.2%}: right {right:.1%} of {count}")
            if said is not every:
                for one in said:
                    if not one.right and one.sure >= 0.9:
                        print(f"      {one.sure:.2%} of {one.named}, but it was {one.fault}")


if __name__ == "__main__":
    main()
