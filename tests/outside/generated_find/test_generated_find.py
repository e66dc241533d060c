"""A seeded sample of generated sessions and of one campaign."""

from __future__ import annotations

import pytest

from tests.outside.generated_find import played
from tests.outside.generated_find.builder import Builder, place_is
from tests.outside.generated_find.cases import case
from tests.outside.generated_find.pool import play

# Joints, open and loose; solder; a missing LED; no common ground (25).
SAMPLE = (0, 8, 9, 14, 25, 29)
SMALL = (8, 6)

pytestmark = pytest.mark.slow


def test_builders_find_what_is_wrong_and_are_understood():
    done = play(SAMPLE, SMALL)
    assert sum(done.results[one] for one in ("named", "among")) == len(SAMPLE), str(done)
    assert not [*done.wrong, *done.blamed, *done.missed, *done.misread], str(done)


def test_a_campaign_detects_what_a_bench_shows():
    judged, said = played.wrong(1, (4, 4), 0.3)
    assert judged > 20
    assert not said


def test_another_fault_is_not_taken_for_the_right_one():
    """Else the judge would judge nothing."""
    of = case(0, SMALL)
    after = of.fault["after"]
    line = f" of line {of.fault['line']}" if "line" in of.fault else ""
    assert place_is(
        "data-open", f"the data joint between LED {after} and LED {after + 1}{line}", of
    )
    assert not place_is(
        "data-open", f"the data joint between LED {after + 1} and LED {after + 2}{line}", of
    )
    assert not place_is("led-swallows", f"LED {after}{line}", of)
    assert Builder(0, SMALL).case.sentence == of.sentence
