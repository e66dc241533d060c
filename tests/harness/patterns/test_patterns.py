from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given

from emulator import UnknownNameError, load_display
from harness.patterns.pattern import PATTERNS, Pattern, pattern
from harness.patterns.sources import all_sources
from tests.strategies import displays


@pytest.mark.parametrize("name", PATTERNS)
@given(display=displays())
def test_every_step_is_a_picture_for_any_display(name, display):
    pictures = PATTERNS[name].pictures(display)
    assert pictures.shape == (PATTERNS[name].steps(display), *display.picture_shape)
    assert pictures.dtype == np.uint8


@given(displays())
def test_chase_lights_one_led_a_step_in_the_order_of_the_data_and_no_hidden_one(display):
    lit = PATTERNS["chase"].pictures(display).any(axis=-1).reshape(display.leds, -1)
    hidden = display.wiring.hidden
    assert lit.sum(axis=1).tolist() == (~hidden).astype(int).tolist()
    assert lit[~hidden].argmax(axis=1).tolist() == display.wiring.cell[~hidden].tolist()


@given(displays())
def test_rows_and_columns_light_each_cell_once(display):
    for name in ("rows", "columns"):
        assert (PATTERNS[name].pictures(display).any(axis=-1).sum(axis=0) == 1).all()


def test_the_corner_mark_looks_different_in_all_eight_symmetries():
    display = load_display("foyer")
    mark = PATTERNS["corners"].draw(display, 0)
    seen = set()
    for turned in range(4):
        for picture in (np.rot90(mark, turned), np.rot90(mark[:, ::-1], turned)):
            seen.add((picture.shape, np.ascontiguousarray(picture).tobytes()))
    assert len(seen) == 8


def test_coded_takes_no_more_frames_than_promised():
    for name in ("foyer", "banner", "sign"):
        display = load_display(name)
        assert PATTERNS["coded"].steps(display) <= math.ceil(math.log2(display.leds)) + 2


def largest_change(drawn, display):
    """The largest share of the cells that one step lights or darkens, back to the first too."""
    pictures = drawn.pictures(display).astype(float).mean(axis=-1)
    step = np.roll(pictures, -1, axis=0) - pictures
    return max(((sign * step) > 25).mean(axis=(1, 2)).max() for sign in (1, -1))


# WCAG 2.2, SC 2.3.1: a flash is a pair of opposing changes, at most three a second, and small is
# what fills less than a quarter of a 10° field. What changes faster must be small on any wall.
@pytest.mark.parametrize("demo", ["foyer", "banner", "sign"])
@pytest.mark.parametrize("name", PATTERNS)
def test_large_areas_change_at_most_twice_a_second(name, demo):
    if PATTERNS[name].for_camera:
        return  # two flashes a second, which test_film.py proves with the judge
    assert PATTERNS[name].hold_ms >= 500 or largest_change(PATTERNS[name], load_display(demo)) < 0.2


def test_a_strobe_changes_a_large_area():
    lit = np.full(load_display("sign").picture_shape, 255, np.uint8)
    strobe = Pattern("strobe", "", 100, lambda display: 2, lambda display, step: lit * step)
    assert largest_change(strobe, load_display("sign")) == 1


def test_a_pattern_starts_again_after_its_last_step():
    display = load_display("sign")
    rows = pattern("rows")
    assert (rows.at(display, 0.0) == rows.at(display, 8 * 0.2)).all()
    assert (rows.at(display, 0.25) == rows.draw(display, 1)).all()


def test_full_load_rises_to_full_white():
    levels = PATTERNS["full-load"].pictures(load_display("sign")).max(axis=(1, 2, 3)).tolist()
    assert levels == sorted(levels)
    assert levels[-1] == 255


def test_numbers_mark_every_tenth_fiftieth_and_hundredth_led():
    display = load_display("foyer")
    shown = PATTERNS["numbers"].draw(display, 0).reshape(-1, 3)[display.wiring.cell]
    assert shown[[0, 358]].tolist() == [[255] * 3] * 2
    assert shown[[10, 50, 100, 358 + 10]].tolist() == [
        [0, 255, 0], [0, 0, 255], [255, 0, 0], [0, 255, 0]
    ]  # fmt: skip


def test_unknown_patterns_are_named_with_those_there_are():
    with pytest.raises(UnknownNameError, match="did you mean 'chase'"):
        pattern("chaser")


@pytest.mark.parametrize("demo", ["foyer", "banner", "sign"])
def test_scenes_and_patterns_draw_on_every_demo_and_move(demo):
    display = load_display(demo)
    for name, source in all_sources(display).items():
        pictures = [np.asarray(source(t)) for t in np.arange(0, 12, 0.55)]
        assert all(p.shape == display.picture_shape for p in pictures)
        still = name in ("pattern dark", "pattern corners", "pattern numbers")
        assert still or any((p != pictures[0]).any() for p in pictures), name
        assert name == "pattern dark" or any(p.any() for p in pictures), name
