"""The fewest patterns, against every choice there is."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from harness.campaign import smallest
from harness.campaign.smallest import hitting, telling_apart


def by_force(columns, enough, costs):
    """The smallest set that is enough, the cheapest of its size, of all there are."""
    for size in range(columns + 1):
        sets = [one for one in combinations(range(columns), size) if enough(list(one))]
        if sets:
            return size, min(sum(costs[number] for number in one) for one in sets)
    raise AssertionError


@pytest.mark.parametrize("seed", range(25))
def test_the_smallest_hitting_set_is_that_of_all_choices(seed):
    rng = np.random.default_rng(seed)
    rows = rng.random((rng.integers(1, 40), rng.integers(1, 9))) < rng.uniform(0.1, 0.6)
    rows = rows[rows.any(axis=1)]
    costs = rng.uniform(0.1, 50, rows.shape[1])
    found = hitting(rows, costs)
    size, cost = by_force(rows.shape[1], lambda some: rows[:, some].any(axis=1).all(), costs)
    assert found.exact
    assert len(found.patterns) == size
    assert sum(costs[number] for number in found.patterns) == pytest.approx(cost)


@pytest.mark.parametrize("seed", range(25))
def test_the_smallest_telling_set_is_that_of_all_choices(seed):
    rng = np.random.default_rng(seed)
    signatures = rng.integers(0, 3, (rng.integers(1, 30), rng.integers(1, 8))).astype(np.uint64)
    costs = rng.uniform(0.1, 50, signatures.shape[1])
    walls = len(np.unique(signatures, axis=0))
    found = telling_apart(signatures, costs)
    size, _ = by_force(
        signatures.shape[1],
        lambda some: len({tuple(row) for row in signatures[:, some].tolist()}) == walls,
        costs,
    )
    assert len(found.patterns) == size
    assert len(np.unique(signatures[:, list(found.patterns)], axis=0)) == walls or walls == 1


@pytest.mark.parametrize("seed", range(10))
def test_a_greedy_choice_is_enough_and_within_its_bound(monkeypatch, seed):
    rng = np.random.default_rng(seed)
    rows = rng.random((60, 9)) < 0.25
    rows, costs = rows[rows.any(axis=1)], np.ones(9)
    exact = hitting(rows, costs)
    monkeypatch.setattr(smallest, "MOST_EXACT", 8)
    greedy = hitting(rows, costs)
    assert not greedy.exact
    assert rows[:, list(greedy.patterns)].any(axis=1).all()
    assert len(exact.patterns) <= len(greedy.patterns) <= greedy.at_most * len(exact.patterns)


def test_nothing_to_show_needs_no_pattern():
    assert hitting(np.zeros((0, 3), dtype=bool), np.ones(3)).patterns == ()
