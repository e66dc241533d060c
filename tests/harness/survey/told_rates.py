"""How often the right fault is named: `python -m tests.harness.survey.told_rates [wall …]`.

From exact films: every kind of wiring and strip at random places of three walls. 'first': it is the
first of the first cause; 'alike': that cause names it among those that look the same, or names one
with the very same film; 'no effect': the film is that of a right wall, and nothing is found. Then
pairs of faults, and right walls through telephones that darken corners and add noise: what is found
there is false.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter

import numpy as np

from harness.survey.told import told
from tests.harness.survey.exact import seen_of
from tests.harness.survey.walls import WALLS, kinds, random_fault, telephone, wall


def outcome(display, fault, right):
    """'first', 'alike', 'no effect' or what went wrong."""
    seen = seen_of(display, [fault])
    survey = told(seen)
    if not survey.causes and not survey.findings:
        return "no effect" if _equal(seen, right) else "missed"
    faults = [one for cause in survey.causes[:1] for one in cause.faults]
    if len(survey.causes) != 1:
        return f"{len(survey.causes)} causes"
    if _same(faults[0], fault):
        return "first"
    if any(_same(one, fault) for one in faults) or _equal(seen, seen_of(display, faults[:1])):
        return "alike"
    return f"named {faults[0]}"


def _equal(one, other):
    """Whether two films show the same."""
    return np.array_equal(one.number, other.number) and np.allclose(
        one.light, other.light, equal_nan=True, atol=0.02
    )


def _same(one, other):
    """Whether two faults are one, except for how much light is missing."""
    loose = {"red", "green", "blue", "level", "passes"}
    return one.name == other.name and all(
        one.place[key] == other.place[key] for key in one.place if key not in loose
    )


def pair(display, faults):
    """'both' are named, 'same film' of what is named, or what went wrong."""
    seen = seen_of(display, faults)
    causes = told(seen).causes
    named = [any(_same(one, f) for c in causes for one in c.faults) for f in faults]
    if all(named) and len(causes) == len(faults):
        return "both"
    first = [cause.fault for cause in causes]
    if _equal(seen, seen_of(display, first)):
        return "same film"
    return f"{' and '.join(map(str, faults))}: named {', '.join(map(str, first))}"


def right_wall(display, rng):
    """What is found on a right wall: nothing, if all is well."""
    seen = seen_of(display, surface=telephone(display, rng), rng=rng, noise=rng.uniform(0, 0.06))
    return [finding.what for finding in told(seen).findings]


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("walls", nargs="*", default=WALLS)
    parser.add_argument("--each", type=int, default=10)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--kind", action="append")
    chosen = parser.parse_args()
    for name in chosen.walls:
        display, rng, total = wall(name), np.random.default_rng(chosen.seed), Counter()
        right, started = seen_of(display), time.perf_counter()
        for kind in chosen.kind or kinds():
            counts, wrong = Counter(), []
            for _ in range(chosen.each):
                fault = random_fault(kind, display, rng)
                if fault is None:
                    continue
                found = outcome(display, fault, right)
                counts[found] += 1
                if found not in ("first", "alike", "no effect"):
                    wrong.append(f"{fault}: {found}")
            total += counts
            print(f"  {kind:18}", dict(counts), *wrong, sep="\n    " if wrong else " ", flush=True)
        pairs = Counter()
        for _ in range(chosen.each):
            some = [random_fault(kind, display, rng) for kind in rng.choice(kinds(), 2)]
            if None not in some:
                pairs[pair(display, some)] += 1
        false = Counter(what for _ in range(chosen.each) for what in right_wall(display, rng))
        seconds = (time.perf_counter() - started) / max(total.total(), 1)
        print(
            f"{name}: {dict(total)}; pairs: {dict(pairs)}; on right walls: {dict(false)};"
            f" {seconds:.2f} s a film",
            flush=True,
        )


if __name__ == "__main__":
    main()
