"""Patterns shown together find what they find step by step, which is the reference here."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any
from unittest import mock

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emulator import Display, parse_display
from emulator.canvas import to_drives, to_wire
from harness.checks import patterns, together
from harness.checks.check import run_checks
from harness.patterns.pattern import PATTERNS
from harness.result.result import Result
from harness.subject.subject import Subject
from harness.subject.trial import Trial


def plain_wall(columns: int, rows: int) -> Display:
    text = f"[grid]\ncolumns={columns}\nrows={rows}\n[chip]\npart='WS2812B'\n[wiring]\n"
    return parse_display(text, Path("wall.toml"))


LARGE = plain_wall(31, 20)


def checked(display: Display, code: Any) -> Result:
    return patterns.check(Trial(display, Subject("test", code)))


def checked_together(display: Display, code: Any, apart: int = 2, more: int = 1 << 20) -> Result:
    """With next to no step alone, so that few steps find their mistakes by that."""
    settings_of = {"ALONE": 1, "APART": apart, "MOST_MORE": more}
    with (
        mock.patch.multiple(together, **settings_of),
        mock.patch.object(patterns, "_MOST_STEPS", 1),
    ):
        return checked(display, code)


def same(one: Result, other: Result) -> bool:
    alike = one.figures["steps_wrong"] == other.figures["steps_wrong"]
    return alike and (one.verdict, one.findings) == (other.verdict, other.findings)


@st.composite
def walls(draw: Any, most: int = 5) -> Display:
    """Some have a gap, also over a whole row or column, and hidden LEDs."""
    columns, rows = draw(st.integers(1, most)), draw(st.integers(1, most))
    text = f"[grid]\ncolumns = {columns}\nrows = {rows}\n"
    across, down = draw(st.integers(0, columns)), draw(st.integers(0, rows))
    if 0 < across * down < columns * rows:
        text += f"gaps = [{{column = 0, row = 0, columns = {across}, rows = {down}}}]\n"
    hidden = draw(st.integers(0, 2))
    text += f"[chip]\npart = 'WS2812B'\n[wiring]\nhidden_last = {hidden}\n"
    return parse_display(text, Path("wall.toml"))


class Links:
    """Code that gives each LED the most that any lit cell gives it: share[led, cell, channel].

    black: drive steps that every channel shows at least.
    """

    def __init__(self, display: Display) -> None:
        self.display, wiring = display, display.wiring
        self.share = np.zeros((display.leds, display.gap.size, 3))
        placed = wiring.placed
        self.share[placed, wiring.cell[placed]] = 1
        self.black = 0

    def __call__(self, picture: np.ndarray) -> Any:
        lit = picture.reshape(1, -1, 3) / 255
        drives = np.round(255 * (self.share * lit).max(axis=1)).astype(np.uint8)
        return to_wire(np.maximum(drives, self.black), self.display)


@st.composite
def mistaken(draw: Any) -> Links:
    code = Links(draw(walls()))
    leds, cells = (st.integers(0, count - 1) for count in code.share.shape[:2])
    shares = st.sampled_from([0.0, 0.3, 0.45, 0.55, 0.8, 1.0])
    for _ in range(draw(st.integers(0, 4))):
        one, other, cell, share = draw(leds), draw(leds), draw(cells), draw(shares)
        match draw(st.sampled_from(["swap", "copy", "leak", "gain", "channel", "black"])):
            case "swap":
                code.share[[one, other]] = code.share[[other, one]]
            case "copy":
                code.share[one] = code.share[other]
            case "leak":
                code.share[one, cell] = share
            case "gain":
                code.share[one] *= share
            case "channel":
                code.share[one, :, draw(st.integers(0, 2))] *= share
            case "black":
                code.black = draw(st.integers(0, 3))
    return code


def agree(code: Links, apart: int) -> None:
    whole, fast = checked(code.display, code), checked_together(code.display, code, apart)
    assert same(whole, fast), (whole, fast)
    assert fast.figures["at_least"] == []


@settings(max_examples=8)
@given(mistaken(), st.integers(2, 4))
def test_together_finds_just_the_steps_that_are_wrong_alone(code, apart):
    agree(code, apart)


@pytest.mark.slow
@settings(max_examples=40)
@given(mistaken(), st.integers(2, 4))
def test_together_finds_just_the_steps_that_are_wrong_alone_many(code, apart):
    agree(code, apart)


def test_swaps_within_one_picture_are_found():
    """Two LEDs whose steps are shown together for one p are apart for another."""
    code = Links(plain_wall(6, 6))
    with mock.patch.object(together, "APART", 4):
        first, *others = together.moduli(36)
    assert others
    for step in (first, others[0]):
        swapped = Links(code.display)
        swapped.share[[0, step]] = code.share[[step, 0]]
        found = checked_together(code.display, swapped, apart=4)
        assert found.figures["steps_wrong"]["chase"] == 2


def test_a_dark_led_that_another_step_lights_in_each_picture_is_found():
    """In its picture of each division another step lights its LED."""
    display = plain_wall(6, 6)
    with mock.patch.object(together, "APART", 4):
        moduli = together.moduli(36)
    code, cell, dark = Links(display), display.wiring.cell, 10
    others = [dark + number for number in moduli]
    code.share[dark, cell[dark]] = 0
    code.share[dark, cell[others]] = 1
    found = checked_together(display, code, apart=4)
    assert found.figures["steps_wrong"]["chase"] == 1 + len(others)


@pytest.mark.parametrize("count", [1, 2, 12, 143, 144, 160, 600, 10_000, 100_000, 1_000_000])
def test_moduli_tell_any_two_steps_apart(count):
    """Chinese remainder theorem: the least common multiple of the moduli is their product."""
    found = together.moduli(count)
    assert math.lcm(*found) == math.prod(found) >= count
    assert min(found) >= min(together.APART, count)
    assert sum(found) < 300 or count > 1_000_000  # pictures, in place of `count`


@pytest.mark.parametrize("name", together.STEP_OF_CELL)
def test_the_steps_of_the_cells_are_those_that_the_pattern_draws(name):
    text = "[grid]\ncolumns=5\nrows=4\ngaps=[{column=1,row=1,columns=2,rows=1}]\n"
    text += "[chip]\npart='WS2812B'\n[wiring]\nhidden_first=2\n"
    display = parse_display(text, Path("wall.toml"))
    step = together.STEP_OF_CELL[name](display)
    for number, picture in enumerate(PATTERNS[name].pictures(display)):
        assert np.array_equal(picture, np.where(step == number, 255, 0)[..., None].repeat(3, -1))


def test_a_large_wall_takes_few_pictures_and_every_wrong_led_is_found():
    wiring, odd = LARGE.wiring, np.array([401, 555])  # not among those that are shown alone anyway

    def leaking(picture: np.ndarray) -> Any:
        drives = to_drives(picture, LARGE)
        own = picture[wiring.row[odd], wiring.column[odd]]
        drives[odd + 1] = np.maximum(drives[odd + 1], own // 5 * 4)  # to the next LED
        return to_wire(drives, LARGE)

    found = checked(LARGE, leaking)
    assert found.figures["steps_wrong"]["chase"] == 2
    assert found.figures["at_least"] == []
    assert found.figures["pictures"] < 300 < LARGE.leds < found.figures["steps"]


def test_code_that_is_wrong_only_for_one_lit_cell_is_found_on_large_walls():
    def shy(picture: np.ndarray) -> Any:
        lit = picture.any(axis=-1).sum()
        return to_wire(to_drives(picture * np.uint8(lit != 1), LARGE), LARGE)

    found = checked(LARGE, shy)
    assert found.verdict == "fail"
    assert "chase (at least" in found.findings[0].what


def test_steps_that_are_left_over_are_said():
    """A wall on which all is wrong: what was found is a part, and says so."""
    code = Links(plain_wall(8, 8))
    code.share = code.share[::-1]
    found = checked_together(code.display, code, apart=4, more=20)
    assert "chase" in found.figures["at_least"]
    assert 0 < found.figures["steps_wrong"]["chase"] < 64
    report = run_checks(Trial(code.display, Subject("test", code)), ("map", "patterns"))
    assert "see map" in report.results[1].summary
