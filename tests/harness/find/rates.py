"""How often the right fault is found: `python -m tests.harness.find.rates [wall …]`.

Over the demos and a wall of 24 × 24 LEDs, with simulated persons. A careful one paints or types
exactly what the eye of the campaign sees; one who errs is wrong in 5 % of the cells.
"""

from __future__ import annotations

import argparse
import statistics
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from emulator import load_display, parse_display
from harness.find.loose import possible_faults
from harness.find.pictures import questions
from harness.find.search import Search
from harness.find.table import build
from tests.harness.find.observer import Person, in_words, painted, redrawn

SQUARE = '[grid]\ncolumns = 24\nrows = 24\n[chip]\npart = "WS2812B"\n[wiring]\nstart = "top-left"\n'
MOST = 30
ROUNDS = 6
_SHARED = {}  # what searches over the same tables calculate once


@dataclass
class Outcome:
    rank: int  # of the right place; 0 is the first
    asked: int
    by: str
    sure: float = 0.0  # of the first place


def wall(name):
    return parse_display(SQUARE, Path("square.toml")) if name == "square" else load_display(name)


def fresh(search, colours):
    """A new search over the same tables."""
    new = Search(search.display, search.suspects, search.asked, colours)
    new.tables = search.tables
    new._grouped, new.by_chance = _SHARED.setdefault(
        (id(search), colours), (new._grouped, new.by_chance)
    )
    return new


def hunt(search, number, look):
    """Ask until one place is sure. look: number of a picture → words (N,)."""
    belief = search.belief()
    for _ in range(MOST):
        found = search.next_question(belief)
        if found is None:
            break
        search.tell(found[0], look(found[0]))
        belief = search.belief()
        if belief.sure:
            break
    order = np.argsort(-belief.of_place, kind="stable")
    return int(np.flatnonzero(order == belief.place[number])[0]), len(search.answers), belief


def single(base, number, rng, slips=0.0, words=False):
    search = fresh(base, words)
    table = search.table(())

    def look(picture):
        symbols = table.shown(picture, [number])
        if words:
            return in_words(symbols, search.display, search.asked[picture].picture)
        return painted(symbols, rng, slips)

    rank, asked, _ = hunt(search, number, look)
    return Outcome(rank, asked, search.suspects[number].name)


def pair(base, numbers, stays):
    """Whether both of two faults are found, and how many pictures it took. A person who finds a
    place whole says so; they tell faults that look the same apart when they look."""
    display, suspects, asked = base.display, base.suspects, base.asked
    search = fresh(base, False)
    left = list(numbers)
    count = 0
    for _ in range(ROUNDS):
        wall_ = build(display, [suspects[left[-1]]], asked, [suspects[n] for n in left[:-1]])
        belief = search.belief()
        while not belief.sure:
            found = search.next_question(belief)
            if found is None:
                break
            search.tell(found[0], painted(wall_.shown(found[0], [0])))
            belief = search.belief()
            count += 1
        members = belief.members(belief.best).tolist()
        true = [n for n in members if n in left and n not in search.known]
        if search.nothing in members:
            return False, count
        if not true:
            search.out.update(members)
            continue
        search.found(suspects[true[0]], fixed=not stays)
        if not stays:
            left.remove(true[0])
        if not left or len(search.known) == len(numbers):
            return True, count
    return False, count


def pairs(base, detected, rng, many, stays):
    """For each pair whether both are found, and the pictures it took; and those that were missed.

    Left out: pairs of which one hides the other, and of two faults that must both be played.
    """
    done, asked, missed = [], [], []
    while len(done) < many:
        two = rng.choice(detected, 2, replace=False).tolist()
        two.sort(key=lambda n: base.suspects[n].stage in ("signal", "power"))
        if base.suspects[two[0]].stage in ("signal", "power"):
            continue
        if getattr(base.suspects[two[0]], "share", 1) < 1:
            continue
        if hides(base, *two) or hides(base, *two[::-1]):
            continue
        both, count = pair(base, two, stays)
        done.append(both)
        asked.append(count)
        if not both:
            missed.append(" + ".join(str(base.suspects[n]) for n in two))
    return done, asked, missed


def hides(base, one, other):
    """Whether a wall with both looks as with one alone."""
    alone = base.table(())
    both = build(base.display, [base.suspects[other]], base.asked, [base.suspects[one]])
    return all(
        np.array_equal(alone.shown(n, [one]), both.shown(n, [0])) for n in range(len(base.asked))
    )


def by_chance(base, number, rng):
    """As `single`, of a suspect that acts by chance, played on a bench: each look is another. Also
    the share of the first of its place, and whether it is the right one."""
    search = fresh(base, False)
    person = Person(base.display, base.asked, redrawn(search.suspects[number], rng), rng)
    rank, asked, belief = hunt(search, number, person)
    members = belief.members(belief.place[number])
    share = belief.probability[members[0]] / belief.of_place[belief.place[number]]
    seen = any(one.seen.any() for one in search.answers)
    outcome = Outcome(rank, asked, search.suspects[number].name, belief.sureness)
    return outcome, seen, members[0] == number, share


def report(title, outcomes, begin):
    n = len(outcomes)
    first = sum(one.rank == 0 for one in outcomes) / n
    three = sum(one.rank < 3 for one in outcomes) / n
    middle = statistics.median(one.asked for one in outcomes)
    missed = {one.by for one in outcomes if one.rank}
    print(f"  {title}: {n} faults, first {first:.1%}, first three {three:.1%}, median {middle:g} "
          f"questions, most {max(one.asked for one in outcomes)} ({time.time() - begin:.0f} s)"
          + (f"; not first: {', '.join(sorted(missed))}" if missed else ""),
          flush=True)  # fmt: skip


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("walls", nargs="*", default=["foyer", "banner", "sign", "square"])
    parser.add_argument("--sample", type=int, default=200)
    parser.add_argument("--pairs", type=int, default=20)
    parser.add_argument("--looks", type=int, default=3, help="at each fault that acts by chance")
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args()
    for name in arguments.walls:
        display = wall(name)
        suspects, asked = possible_faults(display), questions(display)
        begin = time.time()
        base = Search(display, suspects, asked, colours=False)
        detected = np.flatnonzero((base.table(()).signatures(False)[:-1] != 0).any(axis=1))
        print(f"{name}: {len(suspects)} faults, {len(detected)} seen, {len(asked)} pictures, table "
              f"{time.time() - begin:.0f} s", flush=True)  # fmt: skip
        detected = np.setdiff1d(detected, base.by_chance.numbers)  # they are samples, see below
        base._of_table(())
        rng = np.random.default_rng(arguments.seed)
        some = rng.choice(detected, min(arguments.sample, len(detected)), replace=False)
        for title, slips, words, share in (
            ("careful, paints", 0.0, False, 1), ("careful, types", 0.0, True, 4),
            ("errs in 5 % of cells, paints", 0.05, False, 2),
        ):  # fmt: skip
            begin = time.time()
            report(title, [single(base, int(n), rng, slips, words) for n in some[::share]], begin)
        begin = time.time()
        done = [by_chance(base, n, rng) for n in base.by_chance.numbers * arguments.looks]
        if done := [one for one in done if one[1]]:
            report("by chance, paints", [one[0] for one in done], begin)
            print(f"    of those in first place, the first of the place is right in "
                  f"{np.mean([one[2] for one in done if not one[0].rank]):.0%}, it is given "
                  f"{np.mean([one[3] for one in done if not one[0].rank]):.0%}")  # fmt: skip
            sure = [one[0].sure for one in done if one[0].rank]
            print(
                f"    others are named {len(sure)} times, at most {max(sure, default=0):.1%} sure"
            )
        begin = time.time()
        if not arguments.pairs:
            continue
        done, count, missed = pairs(base, detected, rng, arguments.pairs, stays=False)
        print(
            f"  pairs, each fixed when found: {len(done)}, both found {np.mean(done):.1%}, median"
            f" {statistics.median(count):g} questions ({time.time() - begin:.0f} s)",
            flush=True,
        )
        for one in missed:
            print(f"    not both: {one}")


if __name__ == "__main__":
    main()
