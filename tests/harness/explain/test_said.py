"""The full explanations of faults drawn with a fixed seed: said.txt has them.

`pytest -m slow --foreglow-update` on this file stores what is said now; read the difference before
you commit it. The other tests here prove that each statement is true; these notice every change.
"""

from __future__ import annotations

import re
from itertools import permutations
from pathlib import Path

import numpy as np
import pytest

from harness.explain import explain, explain_colours
from harness.mistakes import FAULTS, as_seen
from tests.harness.explain.composites import random_composite, random_wall
from tests.harness.explain.test_explain import WALLS

STORED = Path(__file__).parent / "said.txt"
COMPOSITES, COLOURS = 40, 60


def lines_of(findings):
    for finding in findings:
        yield f"{finding.severity}: {finding.what}"
        yield f"  where {finding.where}"
        yield f"  seen {finding.evidence}"
        yield f"  fix {finding.remedy}"


def said_of(wiring, source):
    explanation = explain(wiring, source)
    yield from lines_of(explanation.findings())
    whole = explanation.to_json()
    for entry in whole["operations"]:
        numbers = [led for _, led in entry["leds"]]
        name, parameters = entry["operation"], entry["parameters"]
        yield f"  {name} {parameters} {len(numbers)} LEDs, sum {sum(numbers)}"
    if whole["remaining"]:
        yield f"  remaining {whole['remaining'][:3]} … {len(whole['remaining'])}"


def single_faults():
    """Each registered fault alone on each wall that has it."""
    for wall in ("irregular", "lopsided", "strip"):
        wiring = WALLS[wall]
        for name, fault in FAULTS.items():
            example = fault.example(wiring, np.random.default_rng(7))
            if example is not None:
                seen = as_seen(example.apply(wiring.cell, wiring), wiring)
                yield f"{name} on {wall}", list(said_of(wiring, seen))


def composites():
    rng = np.random.default_rng(20261128)
    for number in range(COMPOSITES):
        composite = random_composite(rng)
        title = f"composite {number}: {', '.join(composite.names)}"
        yield title, list(said_of(composite.wiring, composite.seen))


def colours():
    """Channels exchanged, dark or the same, on the whole wall, a line, runs, a range, every nth."""
    rng = np.random.default_rng(5)
    orders = list(permutations(range(3)))
    for number in range(COLOURS):
        wiring = random_wall(rng)
        leds = np.arange(len(wiring))
        groups = {
            "all": leds >= 0,
            "a line": wiring.line == int(rng.integers(max(wiring.line) + 1)),
            "two runs": np.isin(wiring.run, rng.integers(max(wiring.run) + 1, size=2)),
            "a range": (leds >= leds.size // 3)
            & (leds < leds.size // 3 + int(rng.integers(1, 20))),
            "every nth": leds % int(rng.integers(2, 5)) == 0,
            "some": np.isin(leds, rng.integers(leds.size, size=3)),
        }
        shown = np.repeat(np.eye(3)[:, None, :], leds.size, axis=1) * (390.0, 660.0, 180.0)
        told = []
        for _ in range(int(rng.integers(1, 3))):
            group = list(groups)[int(rng.integers(len(groups)))]
            kind = str(rng.choice(["order", "dark", "also", "white"]))
            one, other = (int(c) for c in rng.choice(3, 2, replace=False))
            mask = groups[group]
            if kind == "order":
                shown[:, mask] = shown[:, mask][:, :, list(orders[int(rng.integers(1, 6))])]
            elif kind == "dark":
                shown[:, mask, one] = 0
            elif kind == "also":
                shown[one, mask, other] += 100
            else:
                shown[one, mask] = 300
            told.append(f"{kind} of {group}")
        channels = "RGBW" if number % 4 == 3 else "RGB"
        findings = explain_colours(wiring, shown, channels)
        yield f"colours {number}, {channels}: {', '.join(told)}", list(lines_of(findings))


def record():
    """Title → lines, of every case."""
    return dict(case for cases in (single_faults(), composites(), colours()) for case in cases)


def text_of(said):
    return "".join(
        f"# {title}\n" + "".join(f"{line}\n" for line in lines) for title, lines in said.items()
    )


def cases_of(text):
    return dict(re.findall(r"^# (.*)\n((?:[^#\n].*\n)*)", text, re.M))


def test_each_fault_alone_is_said_as_it_was():
    then = cases_of(STORED.read_text())
    for title, lines in single_faults():
        assert "".join(f"{line}\n" for line in lines) == then[title], title


@pytest.mark.slow
def test_everything_is_said_as_it_was(pytestconfig):
    now = text_of(record())
    if pytestconfig.getoption("--foreglow-update", default=False):
        STORED.write_text(now)
    then = STORED.read_text()
    cases = [cases_of(then), cases_of(now)]
    assert cases[1].keys() == cases[0].keys()
    changed = [title for title in cases[1] if cases[1][title] != cases[0][title]]
    first = changed[0] if changed else ""
    assert not changed, (
        f"{len(changed)} changed, first {first}:\n{cases[0].get(first)}\nnow\n{cases[1].get(first)}"
    )
    assert now == then
