"""The mistakes that a wall admits: each changes something, and the assertion named catches it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from emulator import load_display, parse_display
from harness.assertions import assert_map, assert_right
from harness.mutate.mutation import GROUPS, mutations
from harness.mutate.verdict import assertion
from harness.subject.subject import own_code
from tests.tables import telling

HIDDEN = """
[grid]
columns = 7
rows = 5
[chip]
part = "SK6812-RGBW"
[wiring]
start = "bottom-right"
along = "columns"
path = "serpentine"
hidden_first = 1
hidden_between = 1
"""
STRIP = """
[chip]
part = "WS2812B"
[wiring]
start = "top-left"
along = "rows"
path = "serpentine"
"""
WALLS = {name: load_display(name) for name in ("foyer", "sign")}
WALLS["hidden"] = parse_display(HIDDEN, Path("hidden.toml"))


def wrong_code(display, mutation):
    """The right code of a display with a mistake, as `foreglow mutate` changes a user's."""
    right = own_code(display).to_wire
    change = mutation.change.of_pictures(display.canvas.curve, display.controller.frame_rate)
    return lambda picture: right(change(picture))


def cases():
    for wall, display in WALLS.items():
        for mutation in mutations(display)[0]:
            yield wall, mutation.name, mutation


def fast(case):
    wall, name, _ = case
    return wall == "hidden" and name in {"mirrored", "late", "curve twice", "flicker"}


@pytest.mark.parametrize(("wall", "name", "mutation"), telling(cases(), fast))
def test_the_assertion_for_a_survivor_catches_it(wall, name, mutation):
    to_wire = wrong_code(WALLS[wall], mutation)
    line = assertion(mutation.group, "to_wire")
    names = {"assert_map": assert_map, "assert_right": assert_right}
    with pytest.raises(AssertionError):
        eval(line, names, {"display": WALLS[wall], "to_wire": to_wire})


@pytest.mark.parametrize("group", GROUPS)
def test_right_code_passes_these_assertions(group):
    display = WALLS["sign"]
    names = {"assert_map": assert_map, "assert_right": assert_right}
    eval(
        assertion(group, "to_wire"),
        names,
        {"display": display, "to_wire": own_code(display).to_wire},
    )


@pytest.mark.parametrize("wall", telling(WALLS, lambda wall: wall != "foyer"))
def test_each_mistake_of_the_map_changes_a_cell_with_an_led_and_none_is_double(wall):
    display = WALLS[wall]
    found, left_out = mutations(display, ("map",), each=3)
    cells = np.sort(display.wiring.without_hidden.cell)
    for one in found:
        assert (np.array(one.change.source)[cells] != cells).any(), one.name
    assert len({one.change for one in found}) == len(found)
    assert all(one.reason for one in left_out)
    assert len(found) > len(mutations(display, ("map",))[0])  # more examples than one of each


def test_a_wall_of_one_led_admits_no_mistake_but_a_dark_or_lit_led():
    display = parse_display("[grid]\ncolumns = 1\nrows = 1\n" + STRIP, Path("one.toml"))
    found, left_out = mutations(display, ("map",))
    assert {one.name for one in found} == {"dead LED", "stuck LED"}
    assert "mirrored" in {one.name for one in left_out}


def test_a_curve_that_is_none_has_no_mistakes_of_curves():
    text = "[grid]\ncolumns = 4\nrows = 2\n[canvas]\ncurve = 1.0\n" + STRIP
    found, left_out = mutations(parse_display(text, Path("linear.toml")), ("colour",))
    curves = {"no curve", "curve twice", "inverse curve", "green without a curve"}
    assert {one.name for one in left_out} == curves
    assert not curves & {one.name for one in found}
