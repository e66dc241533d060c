"""Joints and LEDs that come and go: how likely answers are of them, and how sure the search is."""

from __future__ import annotations

import numpy as np
import pytest

from emulator.description.faults.reading import read_sentence
from harness.find.answer import DARK, FINE, FLICKERS, SLIPS, WEIGHTS, WRONG
from harness.find.loose import _GUESSES, _MOVING, _STILL, Loose, possible_faults
from harness.find.pictures import MOVING, questions
from harness.find.search import Search
from tests.harness.find.calibration import bins, played
from tests.harness.find.walls import TEXT_TWO, wall

DISPLAY = wall()
SENTENCES = (
    "data-open after=6", "data-open after=6 share=0.1",
    "led-dark led=3", "led-dark led=3 share=0.1",
)  # fmt: skip
BEHIND = np.arange(DISPLAY.leds) > 6


def search_of(*sentences):
    faults = tuple(read_sentence(one, DISPLAY) for one in sentences)
    return Search(DISPLAY, faults, questions(DISPLAY), colours=False)


def numbers(search):
    names = {one.name: number for number, one in enumerate(search.asked)}
    return names["channels 4"], names["channels 1"], names["checker moving"]


def test_weights_are_shares():
    assert sum(_GUESSES) == pytest.approx(1)
    assert np.vstack([_MOVING, _STILL]).sum(axis=1) == pytest.approx(1)


def test_likelihood_of_two_looks_by_hand():
    """A joint of the power: whole in one look of 10 cells, open in the other (no slips), else all
    of its 4 cells differ. Law of total probability over persons, guesses and ways."""
    loose = Loose([read_sentence("power-joint after=6 conductor=plus share=0.1", DISPLAY)], [])
    whole, opened = (np.array([[a], [b], [b], [4.0]]) for a, b in ((0, 4), (4, 0)))
    by_hand = 0.0
    for person, slip in zip(WEIGHTS, SLIPS, strict=True):
        right, wrong = (1 - slip) ** 10, slip**4 * (1 - slip) ** 6
        for guess, (is_whole, is_open, changes) in zip(_GUESSES, _MOVING, strict=True):
            one = is_whole * right + is_open * wrong + changes * wrong
            two = is_whole * wrong + is_open * right + changes * wrong
            by_hand += person * guess * one * two
    looks = [loose.of_look(slips, 10, still=True) for slips in (whole, opened)]
    assert np.exp(loose.log_likelihood(looks)) == pytest.approx([by_hand])


def test_leds_that_come_and_go_are_among_the_suspects():
    """'First LED flickers' is an answer that must lead to this LED."""
    found = {str(one) for one in possible_faults(DISPLAY)}
    assert {"led-dark led=0 share=0.1", "channel-off led=0 share=0.1 channel=red"} <= found
    search = search_of(*SENTENCES)
    for number in numbers(search)[:2]:
        seen = np.zeros(DISPLAY.leds, np.uint8)
        seen[3] = FLICKERS
        search.tell(number, seen)
    belief = search.belief()
    assert belief.place[3] == belief.best
    assert belief.sureness > 0.95


@pytest.mark.parametrize("looks", [(DARK, FINE), (DARK, FLICKERS), (FINE, DARK, FINE)])
def test_a_joint_that_is_open_in_some_looks_and_whole_in_others_comes_and_goes(looks):
    search = search_of(*SENTENCES)
    for number, word in zip(numbers(search), looks, strict=False):
        search.tell(number, np.where(BEHIND, word, FINE).astype(np.uint8))
    belief = search.belief()
    assert belief.place[1] == belief.best
    assert belief.probability[1] > 0.99


def test_an_old_picture_behind_a_loose_joint_is_not_another_fault():
    """After full white the LEDs behind keep it: nothing is wrong in white, and all in red."""
    search = search_of(*SENTENCES)
    white, red, _ = numbers(search)
    search.tell(white, np.zeros(DISPLAY.leds, np.uint8))
    search.tell(red, np.where(BEHIND, WRONG, FINE).astype(np.uint8))
    belief = search.belief()
    assert belief.place[1] == belief.best
    assert search.differs(1, ()) == (0.0, 2 * DISPLAY.leds)
    assert search.differs(0, ())[0] >= 5  # an open joint leaves them dark
    search.tell(numbers(search)[2], np.where(BEHIND, WRONG, FINE).astype(np.uint8))
    assert search.differs(1, ())[0] == 0  # lit in each of the pictures that move


def test_always_open_or_now_and_then_are_one_part_and_each_look_tells_more():
    search = search_of(*SENTENCES)
    shares = []
    for number in (*numbers(search)[:2], *numbers(search)[:2]):
        search.tell(number, np.where(BEHIND, DARK, FINE).astype(np.uint8))
        belief = search.belief()
        assert belief.beside_members(belief.best).tolist() == [1]
        assert belief.sureness == pytest.approx(belief.probability[[0, 1]].sum())
        shares.append(belief.probability[1])
    assert 0.03 < shares[0] < 0.3
    assert shares == sorted(shares, reverse=True)


@pytest.mark.slow
def test_what_chance_spoils_may_look_as_a_steady_fault_and_less_so_the_more_often():
    display = wall(TEXT_TWO)
    sentences = "data-open line=0 after=1", "motor-noise line=0 share=0.3", "led-dark line=0 led=4"
    search = Search(display, tuple(read_sentence(one, display) for one in sentences),
                    questions(display), colours=False)  # fmt: skip
    assert search.by_chance.numbers == [1]
    behind = (display.wiring.line == 0) & (display.wiring.led > 1)
    left = []
    for number, one in enumerate(search.asked):
        if one.step != MOVING and one.pictures.all():
            search.tell(number, np.where(behind, DARK, FINE).astype(np.uint8))
            left.append(search.belief().probability[1])
    for _ in range(2):
        search.answers.append(search.answers[-1])
        left.append(search.belief().probability[1])
    assert left == sorted(left, reverse=True)
    assert left[-1] < left[0] / 2


@pytest.mark.slow
def test_what_it_is_sure_of_is_right_as_often_as_it_says():
    """A small sample of `python -m tests.harness.find.calibration`, within three standard errors
    (binomial distribution)."""
    base = Search(DISPLAY, possible_faults(DISPLAY), questions(DISPLAY), colours=False)
    groups = dict(played(base, 7, np.random.default_rng(2)))
    every = [one for said in groups.values() for one in said]
    assert len(every) >= 14
    checked = 0
    for sure, right, count in bins(every):
        error = np.sqrt(max(sure * (1 - sure), 0.01) / count)
        assert right >= sure - 3 * error
        checked += count
    assert checked == len(every)
