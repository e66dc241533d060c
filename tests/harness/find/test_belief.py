"""Probabilities and information against examples worked by hand."""

from __future__ import annotations

import numpy as np
import pytest

from harness.find.answer import COLOUR, DARK, DIM, FINE, FITS, UNSURE, WRONG, log_likelihood
from harness.find.belief import best_question, expected_bits, places, probabilities
from harness.find.priors import prior_odds
from harness.find.table import Table


def test_bits_of_a_picture_by_hand():
    """Four suspects of 1/2, 1/4, 1/8, 1/8. A picture that shows each differently tells
    1/2·1 + 1/4·2 + 2·1/8·3 = 1.75 bits (Cover and Thomas, Elements of Information Theory, 2.1);
    one that shows the first alone differently 1 bit; one that shows all the same none."""
    probability = np.array([1 / 2, 1 / 4, 1 / 8, 1 / 8])
    assert expected_bits(np.array([0, 1, 2, 3]), probability) == pytest.approx(1.75)
    assert expected_bits(np.array([0, 1, 1, 1]), probability) == pytest.approx(1.0)
    assert expected_bits(np.array([0, 0, 0, 0]), probability) == 0


def test_the_best_picture_tells_most_a_second():
    """1.75 bits in 18 s are fewer a second than 1 bit in 6 s."""
    groups = np.array([[0, 0], [1, 1], [2, 1], [3, 1]])
    probability = np.array([1 / 2, 1 / 4, 1 / 8, 1 / 8])
    assert best_question(groups, np.array([18.0, 6.0]), probability) == (1, pytest.approx(1.0))
    assert best_question(groups, np.array([9.0, 6.0]), probability) == (0, pytest.approx(1.75))
    assert best_question(groups, np.array([9.0, 6.0]), probability, {0}) == (1, pytest.approx(1.0))
    assert best_question(groups, np.array([9.0, 6.0]), np.array([1.0, 0, 0, 0])) is None


def test_bayes_by_hand():
    """Odds of 1 : 3 are probabilities of 1/4 and 3/4."""
    assert probabilities(np.log([1.0, 3.0])) == pytest.approx([0.25, 0.75])


def test_likelihood_of_slips_by_hand():
    """Two of ten cells wrong, for persons who slip in 0.01 %, 1 % and 5 % of cells (weights 0.5,
    0.3, 0.2): sum of w·p²·(1 - p)⁸."""
    by_hand = sum(w * p**2 * (1 - p) ** 8 for w, p in ((0.5, 1e-4), (0.3, 1e-2), (0.2, 5e-2)))
    assert np.exp(log_likelihood(np.array([2.0]), 10)) == pytest.approx([by_hand])


def test_words_fit_what_the_eye_sees():
    """Symbols of the eye: 0 as planned, 1 dark, then three levels of each colour."""
    red_weak, red, red_strong, green = 2, 3, 4, 9
    assert FITS[FINE, 0] == FITS[DARK, 1] == FITS[COLOUR, red] == FITS[DIM, red_weak] == 0
    assert FITS[WRONG, [red, red_strong, green]].max() == 0 < FITS[WRONG, red_weak] < 1
    assert FITS[UNSURE].max() == 0
    assert FITS[FINE, 1] == FITS[DARK, 0] == FITS[COLOUR + 2, red] == FITS[COLOUR, 0] == 1
    assert 0 < FITS[DARK, red_weak] < 1


def small_table():
    """Two pictures, three LEDs; suspect 0: LED 1 is dark in both; suspect 1: LED 2 is red in the
    second; suspect 2: nothing."""
    return Table(
        np.zeros((2, 3), np.uint8), np.array([1, 2]), np.array([[1, 0], [1, 3]], np.uint8),
        np.array([0, 1]), np.array([0, 1]), 3,
    )  # fmt: skip


def test_slips_of_suspects_by_hand():
    table = small_table()
    seen = np.array([FINE, DARK, FINE], np.uint8)
    assert table.slips(0, seen).tolist() == [0, 1, 1]
    assert table.slips(1, np.array([FINE, DARK, COLOUR], np.uint8)).tolist() == [1, 1, 2]
    assert table.slips(1, np.array([FINE, DARK, COLOUR], np.uint8), [1]).tolist() == [0, 1, 1]
    assert table.shown(1, [0, 1]).tolist() == [0, 1, 3]


def test_suspects_that_look_the_same_are_one_place():
    signatures = small_table().signatures(colours=True)
    assert (signatures != 0).tolist() == [[True, True], [False, True], [False, False]]
    assert len(set(places(signatures).tolist())) == 3


def test_priors_are_small_and_of_all_kinds():
    from emulator import load_display
    from harness.campaign.campaign import single_faults

    odds = prior_odds(single_faults(load_display("sign")))
    assert (odds > 0).all()
    assert (odds < 0.1).all()
