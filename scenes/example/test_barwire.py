"""The sign's own index map and levels are right for every test pattern.

`foreglow_check` in pytest.ini adds the checks of `foreglow check` as tests: foreglow::map …
"""

# mypy: ignore-errors
from __future__ import annotations

import barwire
import pytest

import harness
from harness.assertions import assert_map, assert_right, assert_shows


def test_every_led_sits_where_the_code_thinks(display):
    assert_map(display, barwire.cells())


def test_colours_and_levels_are_right_too(display):
    assert_right(display, barwire.to_wire, only="map,colour,levels,timing")


@pytest.mark.foreglow_patterns("columns", "rows", "corners", "chase")
def test_the_patterns_come_out_as_drawn(bench, display, pattern):
    for step in range(pattern.steps(display)):
        picture = pattern.draw(display, step)
        bench.send_frame(barwire.to_wire(picture))
        assert_shows(bench, picture)


def test_the_wire_carries_thirty_frames_a_second(display):
    report = harness.check(display, barwire.to_wire, only="wire")
    assert report.figures["wire"]["fastest_frames_per_s"] >= 30
