"""The session on disk: it goes on where it was, and bad files say so."""

from __future__ import annotations

import json

import numpy as np
import pytest

from emulator.description.faults.reading import read_sentence
from emulator.errors import ForeglowError
from harness.find.answer import DARK
from harness.find.kept import from_run_lengths, run_lengths
from harness.find.session import Session
from tests.harness.find.walls import TEXT_TWO, search_of, wall

DISPLAY = wall()


def opened(path, rehearsed=(), again=False, display=DISPLAY):
    return Session.open(search_of(display), path, rehearsed, again)


def dark(*leds):
    seen = np.zeros(DISPLAY.leds, np.uint8)
    seen[list(leds)] = DARK
    return seen


def test_a_session_goes_on_from_its_file(tmp_path):
    """As after a kill: nothing but the file is left."""
    path = tmp_path / "s.json"
    first = opened(path)
    first.answer(4, dark(3))
    first.conclude(read_sentence("led-dark led=3", DISPLAY), "left")
    first.answer(2, dark(3, 5))
    second = opened(path)
    assert second.answers == 2
    assert [str(fault) for fault, _ in second.found] == ["led-dark led=3"]
    assert second.search.known == first.search.known
    for one, other in zip(first.search.answers, second.search.answers, strict=True):
        assert (one.number, one.present) == (other.number, other.present)
        assert np.array_equal(one.seen, other.seen)


def test_the_last_answer_can_be_taken_back(tmp_path):
    session = opened(tmp_path / "s.json")
    assert not session.undo()
    session.answer(4, dark(3))
    session.answer(2, dark(5))
    assert session.undo()
    assert [one.number for one in session.search.answers] == [4]
    assert opened(tmp_path / "s.json").answers == 1


def test_answers_of_a_wall_that_was_repaired_go(tmp_path):
    session = opened(tmp_path / "s.json")
    session.answer(4, dark(3))
    session.conclude(read_sentence("led-dark led=3", DISPLAY), "fixed")
    assert not session.search.answers
    assert not session.search.known


def test_run_lengths_give_the_words_again():
    seen = np.array([0, 0, 3, 3, 3, 1], np.uint8)
    assert run_lengths(seen) == ((0, 2), (3, 3), (1, 1))
    assert np.array_equal(from_run_lengths(run_lengths(seen)), seen)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda kept: "{", "cannot be read"),
        (lambda kept: json.dumps([]), "cannot be read"),
        (lambda kept: json.dumps(kept | {"wall": "other"}), "another wall"),
        (lambda kept: json.dumps(kept | {"rehearsed": ["led-dark led=1"]}), "with led-dark"),
        (lambda kept: json.dumps(kept | {"events": [{"kind": "answered", "pattern": "rows",
                                                     "step": 0, "seen": [[0, 5]]}]}),
         "another number of LEDs"),
    ],
)  # fmt: skip
def test_a_file_that_does_not_fit_says_so_and_stays(tmp_path, change, says):
    path = tmp_path / "s.json"
    opened(path).answer(4, dark(3))
    path.write_text(change(json.loads(path.read_text())))
    before = path.read_text()
    with pytest.raises(ForeglowError, match=says) as error:
        opened(path)
    assert "--new" in error.value.fix
    assert path.read_text() == before
    assert opened(path, again=True).answers == 0


def test_the_session_of_another_wiring_does_not_fit(tmp_path):
    path = tmp_path / "s.json"
    opened(path).answer(4, dark(3))
    with pytest.raises(ForeglowError, match="another wall"):
        opened(path, display=wall(TEXT_TWO))
