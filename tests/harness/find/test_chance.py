"""Faults that act by chance: how likely answers are, by hand and in walls not played before."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from harness.campaign.campaign import single_faults
from harness.find.answer import DARK, FINE, FLICKERS, MIXED, UNSURE, WORDS
from harness.find.chance import _PULL, _STAYS, _of_row
from harness.find.pictures import questions
from harness.find.search import Search
from tests.harness.find.rates import by_chance, single
from tests.harness.find.walls import TEXT_TWO, wall
from tests.tables import telling

DISPLAY = wall(TEXT_TWO)
STAGES = ("strip", "signal")


@pytest.fixture(scope="module")
def base() -> Search:
    faults = [one for one in single_faults(DISPLAY) if one.stage in STAGES]
    return Search(DISPLAY, tuple(faults), questions(DISPLAY), colours=False)


def urn(words, shares, stays):
    """The probability of words in a row, one after the other from Pólya's urns (Johnson and Kotz,
    Urn Models and Their Application, 1977; from memory), one urn for each word before."""
    found, drawn = shares[words[0]], np.zeros((WORDS, WORDS))
    for before, after in pairwise(words):
        urn_of = _PULL * shares + np.eye(WORDS)[before] * stays + drawn[before]
        found *= urn_of[after] / urn_of.sum()
        drawn[before, after] += 1
    return found


def test_likelihood_of_a_row_is_that_of_urns():
    shares = np.full(WORDS, 0.01)
    shares[[FINE, FLICKERS]] = 0.6, 0.26
    rng = np.random.default_rng(2)
    for _ in range(5):
        words = rng.choice([FINE, FLICKERS, DARK], 9).astype(np.uint8)
        by_hand = np.mean([urn(words, shares, stays) for stays in _STAYS])
        assert np.exp(_of_row(words, shares)) == pytest.approx(by_hand)


def test_all_rows_of_words_have_probability_one_together():
    shares = np.zeros(WORDS)
    shares[[FINE, DARK, FLICKERS]] = 0.5, 0.2, 0.3
    rows = np.stack(np.meshgrid(*[[FINE, DARK, FLICKERS]] * 5), axis=-1).reshape(-1, 5)
    with np.errstate(divide="ignore"):
        total = sum(np.exp(_of_row(row.astype(np.uint8), shares)) for row in rows)
    assert total == pytest.approx(1)


def test_unsure_says_nothing_and_mixed_is_as_flickers():
    shares = np.full(WORDS, 1 / WORDS)
    row = np.array([FLICKERS, FLICKERS, FINE], np.uint8)
    assert _of_row(np.array([MIXED, UNSURE, FLICKERS, FINE], np.uint8), shares) == pytest.approx(
        _of_row(row, shares)
    )
    assert _of_row(np.full(4, UNSURE, np.uint8), shares) == 0


def test_faults_of_one_data_wire_that_act_by_chance_are_one_place(base):
    base.prepare()
    place = base.belief().place
    lines = [base.suspects[n].place["line"] for n in base.by_chance.numbers]
    assert len(lines) == 12
    assert len({place[n] for n in base.by_chance.numbers}) == 2
    for line in (0, 1):
        of = {place[n] for n, at in zip(base.by_chance.numbers, lines, strict=True) if at == line}
        assert len(of) == 1


@pytest.mark.slow
def test_nothing_else_is_named_with_confidence_in_walls_of_other_strength_and_seeds(base):
    rng = np.random.default_rng(7)
    done = [by_chance(base, number, rng) for number in base.by_chance.numbers]
    seen = [outcome for outcome, shows, *_ in done if shows]
    assert len(seen) >= 6
    assert np.mean([one.rank == 0 for one in seen]) >= 0.5  # of lines of 8 and 4 LEDs
    assert max(one.sure for one in seen if one.rank) <= 0.995


def test_between_chance_and_a_joint_a_person_is_asked_eight_times_at_most(base):
    outcome, shows, *_ = by_chance(base, base.by_chance.numbers[1], np.random.default_rng(8))
    assert shows
    assert 1 < outcome.asked <= 8


@pytest.mark.parametrize("nth", telling([0, 60, 120, 180], lambda nth: nth == 60))
def test_a_fault_of_the_strip_is_not_taken_for_one(base, nth):
    number = [n for n, one in enumerate(base.suspects) if one.stage == "strip"][nth]
    assert (base.table(()).signatures(False)[number] != 0).any()
    assert single(base, number, None).rank == 0
