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

from harness.find.loose import possible_faults
from harness.find.pictures import questions
from harness.find.search import Search
from tests.harness.find.observer import Person, painted, redrawn
from tests.harness.find.rates import fresh, hunt, wall

GROUPS = ("steady", "comes and goes", "chance")
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
        fault = redrawn(search.suspects[number], rng)
        look = Person(search.display, search.asked, fault, rng)
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
                    if not one.right and one.sure >= 0.5:
                        print(f"      {one.sure:.2%} of {one.named}, but it was {one.fault}")


if __name__ == "__main__":
    main()
