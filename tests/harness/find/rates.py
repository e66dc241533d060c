"""How often the right fault is found: `python -m tests.harness.find.rates [--all] [wall …]`.

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
from harness.campaign.campaign import single_faults
from harness.find.pictures import questions
from harness.find.search import Search
from tests.harness.find.observer import in_words, painted

SQUARE = '[grid]\ncolumns = 24\nrows = 24\n[chip]\npart = "WS2812B"\n[wiring]\nstart = "top-left"\n'
MOST = 30


@dataclass
class Outcome:
    rank: int  # of the right place; 0 is the first
    asked: int
    by: str


def wall(name):
    return parse_display(SQUARE, Path("square.toml")) if name == "square" else load_display(name)


def fresh(search, colours):
    """A new search over the same tables."""
    new = Search(search.display, search.suspects, search.asked, colours)
    new.tables = search.tables
    new._groups = search._groups if search.colours == colours else {}
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
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args()
    for name in arguments.walls:
        display = wall(name)
        suspects, asked = single_faults(display), questions(display)
        begin = time.time()
        base = Search(display, suspects, asked, colours=False)
        detected = np.flatnonzero((base.table(()).signatures(False)[:-1] != 0).any(axis=1))
        print(f"{name}: {len(suspects)} faults, {len(detected)} seen, {len(asked)} pictures, table "
              f"{time.time() - begin:.0f} s", flush=True)  # fmt: skip
        base._of_table(())
        rng = np.random.default_rng(arguments.seed)
        some = rng.choice(detected, min(arguments.sample, len(detected)), replace=False)
        for title, slips, words, share in (
            ("careful, paints", 0.0, False, 1), ("careful, types", 0.0, True, 4),
            ("errs in 5 % of cells, paints", 0.05, False, 2),
        ):  # fmt: skip
            begin = time.time()
            report(title, [single(base, int(n), rng, slips, words) for n in some[::share]], begin)


if __name__ == "__main__":
    main()
