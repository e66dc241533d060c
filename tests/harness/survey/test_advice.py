"""What to do better in the next film."""

from __future__ import annotations

import pytest

from harness.survey import standing
from harness.survey.advice import advice


@pytest.mark.parametrize(
    ("why", "pitch_px", "says"),
    [
        (standing.OUTSIDE, 20, "Move back"),
        (f"{standing.AWAY} 7 cells are outside the picture", 20, "Move back"),
        (standing.BRIGHT, 20, "less exposure"),
        (standing.NOISE, 20, "slower"),
        (standing.NO_NUMBER, 20, "stand"),
        (standing.NO_NUMBER, 7, "nearer"),
        (standing.ILLEGIBLE, 20, "before the pattern begins"),
    ],
)
def test_each_reason_has_one_sentence_of_its_own(why, pitch_px, says):
    (sentence,) = advice([why, why], pitch_px)
    assert says in sentence


def test_the_most_frequent_reason_comes_first_and_each_once():
    reasons = [standing.OUTSIDE, standing.BRIGHT, standing.BRIGHT]
    assert [one.split()[0] for one in advice(reasons, 30)] == ["Film", "Move"]


def test_without_uncertain_leds_there_is_nothing_to_film_again():
    assert advice([], 5) == ()
