"""Searches on a small wall: the right fault, by words and by paint, one and two at a time."""

from __future__ import annotations

import numpy as np
import pytest

from emulator.description.faults.reading import read_sentence
from harness.find.answer import FINE, FLICKERS, UNSURE
from harness.find.pictures import MOVING, questions
from harness.find.search import Search
from harness.find.table import build
from tests.harness.find.observer import in_words, painted
from tests.harness.find.rates import pair, single
from tests.harness.find.walls import TEXT_TWO, search_of, wall

DISPLAY = wall()


@pytest.fixture(scope="module")
def base():
    search = search_of(DISPLAY, colours=False)
    search.prepare()
    return search


def ask(search, look, most=20):
    """Ask until sure; the belief at the end."""
    belief = search.belief()
    while not belief.sure and (found := search.next_question(belief)) is not None and most:
        search.tell(found[0], look(found[0]))
        belief, most = search.belief(), most - 1
    return belief


def test_every_fault_of_a_small_wall_is_found_by_paint(base):
    detected = np.flatnonzero((base.table(()).signatures(False)[:-1] != 0).any(axis=1))
    outcomes = [single(base, int(number), None) for number in detected[::7]]
    assert len(outcomes) > 20
    assert [one.by for one in outcomes if one.rank] == []
    assert np.median([one.asked for one in outcomes]) <= 5


def test_a_fault_is_found_by_words(base):
    search = search_of(DISPLAY)
    number = search.suspects.index(read_sentence("data-open after=6", DISPLAY))
    table = search.table(())
    belief = ask(search, lambda q: in_words(table.shown(q, [number]), DISPLAY,
                                            search.asked[q].picture))  # fmt: skip
    assert belief.place[number] == belief.best
    alike = {str(search.suspects[n]) for n in belief.members(belief.best)}
    # WS2812B datasheet: DOUT passes data on; a chip that does not looks like an open joint.
    assert {"data-open after=6", "led-swallows led=6 lit=yes"} & alike


def test_a_loose_joint_that_opens_under_a_still_picture_is_still_named(base):
    loose = read_sentence("data-open after=6 share=0.1", DISPLAY)
    search = Search(DISPLAY, (*base.suspects, loose), questions(DISPLAY), colours=False)
    number = search.suspects.index(loose)
    search.tell(0, np.where(np.arange(DISPLAY.leds) > 6, FLICKERS, FINE).astype(np.uint8))
    assert search.asked[0].step != MOVING
    slips, cells = search.differs(number, ())
    assert slips == 0
    assert cells == DISPLAY.leds
    belief = search.belief()
    assert belief.place[number] == belief.best


def test_not_sure_changes_nothing_and_is_not_asked_again_at_once(base):
    search = search_of(DISPLAY)
    search.tables = base.tables
    before = search.belief()
    number, _ = search.next_question(before)
    search.tell(number, np.full(DISPLAY.leds, UNSURE, np.uint8))
    after = search.belief()
    assert np.allclose(before.probability, after.probability)
    assert search.next_question(after)[0] != number


def test_a_wall_that_looks_right_is_said_to_be_right(base):
    search = search_of(DISPLAY, colours=False)
    search.tables = base.tables
    belief = ask(search, lambda q: np.zeros(DISPLAY.leds, np.uint8))
    assert search.nothing in belief.members(belief.best)


def test_two_faults_are_found_whether_the_first_is_fixed_or_left(base):
    """Without a single explanation; the second acts on data that the first has moved."""
    two = [base.suspects.index(read_sentence(text, DISPLAY))
           for text in ("led-missing led=2", "channel-off led=8 channel=red")]  # fmt: skip
    for stays in (False, True):
        both, asked = pair(base, two, stays)
        assert both
        assert asked <= 14


def test_a_fault_left_in_the_wall_is_part_of_it_from_then_on():
    """What is seen of a suspect beside a known fault is what `build` gives for both together."""
    search = search_of(DISPLAY, colours=False)
    missing, dark = (read_sentence(t, DISPLAY) for t in ("led-missing led=2", "led-dark led=8"))
    search.found(missing, fixed=False)
    number = search.suspects.index(dark)
    together = build(DISPLAY, [missing], search.asked, [dark])
    for question in range(len(search.asked)):
        beside = search.table((missing,)).shown(question, [number])
        assert np.array_equal(beside, together.shown(question, [0]))


def test_a_place_that_was_measured_and_is_whole_is_not_named_again(base):
    search = search_of(DISPLAY, colours=False)
    search.tables = base.tables
    number = search.suspects.index(read_sentence("led-dark led=5", DISPLAY))
    table = search.table(())
    belief = ask(search, lambda q: painted(table.shown(q, [number])))
    assert belief.place[number] == belief.best
    search.out.update(belief.members(belief.best).tolist())
    assert search.belief().place[number] != search.belief().best


def test_noise_on_one_line_leaves_the_other_as_it_was():
    display = wall(TEXT_TWO)
    sentences = "no-common-ground line=1", "data-open line=1 after=-1 share=0.1"
    suspects = [read_sentence(one, display) for one in sentences]
    table = build(display, suspects, questions(display))
    touched = table.position[table.which[table.fault == 0]]
    assert set(display.wiring.line[touched]) == {1}
    for number in range(len(table.reference)):  # what a joint leaves as it was still flickers
        alone, both = (table.shown(number, which) for which in ([0], [0, 1]))
        assert not ((both == table.reference[number]) & (alone != both)).any()


def test_a_person_who_errs_needs_more_pictures(base):
    number = base.suspects.index(read_sentence("led-dark led=5", DISPLAY))
    rng = np.random.default_rng(4)
    careful = single(base, number, rng).asked
    outcomes = [single(base, number, rng, slips=0.05) for _ in range(6)]
    assert all(one.rank == 0 for one in outcomes)
    assert np.mean([one.asked for one in outcomes]) >= careful


@pytest.mark.slow
@pytest.mark.parametrize("name", ["sign"])  # the others take minutes: by hand
def test_single_faults_and_pairs_of_the_demos_are_found(name):
    """A seeded sample of `python -m tests.harness.find.rates`, against the marks of this part."""
    from emulator import load_display
    from harness.campaign.campaign import single_faults
    from harness.find.search import Search

    display = load_display(name)
    base = Search(display, single_faults(display), questions(display), colours=False)
    detected = np.flatnonzero((base.table(()).signatures(False)[:-1] != 0).any(axis=1))
    rng = np.random.default_rng(11)
    some = rng.choice(detected, 40, replace=False)
    careful = [single(base, int(n), rng) for n in some]
    assert np.mean([one.rank == 0 for one in careful]) >= 0.95
    assert np.mean([one.rank < 3 for one in careful]) >= 0.99
    assert np.median([one.asked for one in careful]) <= 5
    erring = [single(base, int(n), rng, slips=0.05) for n in some[:20]]
    assert np.mean([one.rank == 0 for one in erring]) >= 0.9
