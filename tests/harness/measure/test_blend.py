"""LEDs that mix cells are reported with shares, noise with steps; colours are not accused.

The shares are those that each test mixes with; many more cases, and walls of their own, are in
tests/outside/generated/mixtures.py.
"""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

import harness
from emulator import parse_display
from tests.harness.measure.wrong_colours import send, srgb
from tests.outside.generated import mixtures
from tests.outside.generated.cases import judge
from tests.outside.generated.run import Report

WALL = """
[grid]
columns = 5
rows = 4
[chip]
part = "WS2812B"
[wiring]
start = "top-left"
along = "rows"
path = "serpentine"
"""
DISPLAY = parse_display(WALL, Path("wall.toml"))


def findings(change, only="map,colour,levels"):
    """Findings on right code, except for a change of the picture's light (4, 5, 3), 0 to 1."""

    def to_wire(picture):
        light = np.clip(change(srgb(picture / 255.0)), 0, 1)
        return send(255 * light.reshape(-1, 3)[DISPLAY.wiring.cell], DISPLAY)

    found = harness.check(DISPLAY, to_wire, only).findings
    return [f for f in found if f.severity != "note"]


def after(light, part):
    """70 % of an LED's own cell and 30 % of the cell of the one before it on the wire."""
    order = DISPLAY.wiring.cell
    flat = light.reshape(-1, 3).copy()
    flat[order[1:]] = (1 - part) * flat[order[1:]] + part * flat[order[:-1]]
    return flat.reshape(light.shape)


@pytest.mark.parametrize(
    ("change", "what"),
    [
        (
            lambda v: 0.7 * v + 0.3 * np.concatenate([v[:, 1:], v[:, -1:]], axis=1),
            [r"^columns 0 to 3: each LED shows 70% of its own cell and 30% of the cell to its ri"],
        ),
        (
            lambda v: (v + np.roll(v, 1, axis=0)) / 2,
            [r"^each LED shows 50% each of its own cell and the cell above; at the edges it"],
        ),
        (
            lambda v: after(v, 0.3),
            [r"^LEDs 1 to 19: each LED shows 70% of its own cell and 30% of the cell of the LED"],
        ),
        (
            lambda v: np.where(np.arange(4)[:, None, None] == 2, 0.8 * v + 0.2 * v[1], v),
            [r"^row 2: each LED shows 80% of its own cell and 20% of the cell above$"],
        ),
        (
            lambda v: 1.4 * v - 0.4 * np.concatenate([v[1:], v[-1:]]),
            [r"each LED shows 140% of its own cell and less 40% of the cell below$"],
        ),
    ],
    ids=["right", "above", "wire", "one row", "sharpened"],
)  # fmt: skip
def test_mixtures_are_told_with_their_shares_and_nothing_else(change, what):
    said = [f.what for f in findings(change)]
    assert len(said) == len(what), said
    assert all(re.search(*pair) for pair in zip(what, said, strict=True)), said


def test_a_step_that_is_no_sum_is_not_explained_and_accuses_no_colour():
    """Each cell as bright as the brightest beside it: no shares explain that."""
    found = findings(lambda v: np.maximum(v, np.roll(v, 1, axis=1)))
    assert any("depends on more than the level of its cell" in f.what for f in found)
    assert not [f.what for f in found if "leak" in f.what or "follow" in f.what]


@pytest.mark.parametrize("steps", [1, 3])
def test_noise_is_told_in_drive_steps_and_as_nothing_else(steps):
    random = np.random.default_rng(steps)

    def noisy(light):
        return light + random.integers(-steps, steps + 1, light.shape) / 255

    (finding,) = findings(noisy, "timing,map,colour,levels")
    assert f"noise of ±{steps} drive steps" in finding.what


def test_a_wrong_map_and_a_mixture_are_both_told():
    said = [f.what for f in findings(lambda v: after(v, 0.3)[:, ::-1])]
    assert said[0] == "mirrored left-right"
    assert any("70% of" in what and "30% of" in what for what in said[1:])


def checked(case):
    """The findings on a generated case, by the checks in this process."""
    report = harness.check(
        parse_display(case.wall.toml, Path("wall.toml")), case.build(), case.only
    )
    data = report.to_json()
    status = 0 if report.verdict == "pass" else 1
    return judge(case, Report(status, data["findings"], data["figures"]))


@pytest.mark.slow
def test_generated_mixtures_and_noise_are_told_and_nothing_false_is_said(capsys):
    """Every third on walls of 9 to 192 LEDs; `tests.outside.generated mixtures` takes all."""
    judged = [checked(case) for case in mixtures.cases()[::3] if case.wall.leds < 500]
    named = sum(j.named for j in judged) / len(judged)
    with capsys.disabled():
        false = sum(bool(j.lies) for j in judged)
        print(f"\n{len(judged)} mixtures: named {named:.1%}, with false statements {false}")
    assert not [(j.case.truth, j.lies) for j in judged if j.lies]
    assert all(j.detected for j in judged)
    assert named >= 0.98
