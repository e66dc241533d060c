"""Light is judged only where nothing else explains it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from harness.survey.seen import Outline
from harness.survey.told import told
from tests.harness.survey.exact import seen_of
from tests.harness.survey.prints import KINDS, behind
from tests.harness.survey.walls import wall

WALL = wall("hall")
WEAK = "channel-weak led=20 channel=green"  # at row 1, column 11


def said(seen):
    survey = told(seen)
    return [one.what for one in survey.findings], [one for one in survey.notes if "unknown" in one]


@pytest.fixture(scope="module")
def weak():
    return seen_of(WALL, [WEAK])


def test_a_weak_led_is_named_and_nothing_is_unknown(weak):
    assert said(weak) == (["LED 20 of line 0 is weak in green"], [])


def test_cells_that_are_clipped_or_unsteady_are_not_judged(weak):
    one, all_ = np.zeros(WALL.gap.shape, bool), np.ones(WALL.gap.shape, bool)
    one[1, 11] = True
    assert said(replace(weak, unsure_light=one)) == ([], [])
    found, unknown = said(replace(weak, unsure_light=all_))
    assert found == []
    assert "as bright as the camera can show" in unknown[0]


def test_nothing_is_judged_where_many_leds_are_uncertain_or_small(weak):
    why = ("not sure",) * 40 + weak.why[40:]
    assert "uncertain" in said(replace(weak, why=why))[1][0]
    far = Outline(np.array([[5.0, 0, 2], [0, 5, 2], [0, 0, 1]]))
    found, unknown = said(replace(weak, outline=far))
    assert found == []
    assert "5.0 pixels apart" in unknown[0]


def test_what_the_pictures_of_the_code_do_not_confirm_is_not_named(weak):
    swing = np.where(np.isnan(weak.swing), np.nan, 1.0)
    assert said(replace(weak, swing=swing)) == ([], [])


@pytest.mark.parametrize("unsure", [False, True])
def test_a_colour_is_missing_only_if_the_code_lacks_it_too(unsure):
    """Light adds up: without a colour, all of them together give less (superposition)."""
    seen = seen_of(WALL, ["channel-off led=20 channel=green"])
    seen = replace(seen, unsure_light=np.full(WALL.gap.shape, unsure))
    assert "LED 20 of line 0, channel green" in said(seen)[0][0]
    whole = seen_of(WALL)
    assert said(replace(seen, swing=whole.swing))[0] == []  # a lamp, in the colour's picture


@pytest.mark.parametrize(("cells", "findings"), [(1, 1), (3, 0)])
def test_where_the_code_cannot_tell_cells_around_must_have_the_colour(cells, findings):
    """Of blue, which is 7 % of white (ITU-R BT.709, from memory), behind noise of 10 %."""
    seen = seen_of(WALL)
    swing = seen.swing * np.exp(np.random.default_rng(1).normal(0, 0.1, WALL.gap.shape))
    light, hues = seen.light.copy(), seen.hues.copy()
    part = np.s_[3 : 3 + cells, 5 : 5 + cells]
    light[(*part, 2)] = hues[(*part, 2)] = 0  # somebody stands there, or one LED lacks it
    assert len(said(replace(seen, swing=swing, light=light, hues=hues))[0]) == findings


def test_a_cell_that_is_weak_in_two_colours_may_be_a_print(weak):
    light, swing = weak.light.copy(), weak.swing.copy()
    light[1, 11, 0] *= 0.5
    swing[1, 11] -= 0.1
    found, unknown = said(replace(weak, light=light, swing=swing))
    assert found == []
    assert "other colours differ" in unknown[0]


def test_a_weak_led_beside_others_that_differ_may_be_a_print(weak):
    light, swing = weak.light.copy(), weak.swing.copy()
    light[1, 10] *= 0.7
    swing[1, 10] *= 0.7
    found, unknown = said(replace(weak, light=light, swing=swing))
    assert found == []
    assert "cells beside or other colours differ" in unknown[0]


def test_flicker_of_uncertain_leds_is_not_named():
    seen = seen_of(WALL)
    seen.flicker[1, 11] = 0.4
    assert "LED 20 of line 0 flickers" in said(seen)[0]
    assert said(replace(seen, why=(*seen.why[:20], "not sure", *seen.why[21:])))[0] == []


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
def test_nothing_is_found_behind_prints(kind):
    """A sample of `python -m tests.harness.survey.prints`."""
    seen = seen_of(WALL)
    for seed in range(2):
        assert told(behind(seen, kind, np.random.default_rng([seed, 9]))).findings == ()
