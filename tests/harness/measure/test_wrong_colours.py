"""Every kind of wrong colour and level is found and named; right code raises no alarm."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from emulator import load_display, shorthand
from emulator.picture.srgb import srgb_to_linear
from harness.checks.check import run_checks
from harness.subject.subject import Subject
from harness.subject.trial import Trial
from tests.harness.measure.wrong_colours import own_cells, right_styles, send, wrongs

CHECKS = ("map", "colour", "levels")
FOYER = load_display("foyer")


def wall(columns, rows, like="foyer", lines=1):
    """A plain wall with the chip of a demo display."""
    display = load_display(like)
    return dataclasses.replace(
        display,
        grid=display.grid.model_copy(update={"columns": columns, "rows": rows, "gaps": []}),
        wiring=shorthand(np.zeros((rows, columns), dtype=bool), lines=lines),
        power=display.power.model_copy(update={"limit_a": None}),
    )


WALLS = {
    "foyer": FOYER,
    "RGBW": wall(8, 24, "banner", 2),
    "RGBI": wall(16, 8, "sign"),
    "small": wall(5, 4),
}


def told(display, to_wire):
    report = run_checks(Trial(display, Subject("test", to_wire)), CHECKS)
    return report.findings


@pytest.mark.slow
def test_wrong_colours_and_levels_are_found_and_named_and_nothing_untrue_is_said(capsys):
    rng = np.random.default_rng(2024)
    count = detected = named = 0
    lines, false = [], []
    for place, display in WALLS.items():
        for number, wrong in enumerate(wrongs(display, rng)):
            if display is FOYER and number % 2:
                continue  # large, so slow; the other walls have them all
            if display.chip.channels not in wrong.chips or display.leds < wrong.least:
                continue
            findings = told(display, wrong.to_wire(display))
            found, name, untrue = wrong.judge(findings)
            count, detected, named = count + 1, detected + found, named + name
            said = [f"[{f.severity}] {f.what}" for f in findings]
            if not (found and name):
                lines.append(f"{place}: {wrong.name}: {'not named' if found else 'MISSED'}: {said}")
            false += [f"{place}: {wrong.name}: {what}" for what in untrue]
    with capsys.disabled():
        print(f"\n{count} wrong functions on {len(WALLS)} walls: detected {detected / count:.1%},"
              f" named {named / count:.1%}, false statements {len(false)}")  # fmt: skip
        print("\n".join([*lines, *("untrue: " + f for f in false)]))
    assert count >= 60
    assert detected == count
    assert named >= 0.98 * count
    assert false == []


@pytest.mark.slow
def test_right_code_in_any_style_raises_no_alarm(capsys):
    rng = np.random.default_rng(7)
    count, alarms = 0, []
    for place, display in WALLS.items():
        for style, to_wire in right_styles(display, rng):
            count += 1
            for f in told(display, to_wire):
                if f.severity != "note":
                    alarms.append(f"{place}: {style}: {f.what}")
    with capsys.disabled():
        print(f"\n{count} right functions on {len(WALLS)} walls: {len(alarms)} alarms")
        print("\n".join(alarms))
    assert count >= 30
    assert alarms == []


@pytest.mark.slow
@pytest.mark.parametrize(("columns", "rows"), [(3, 3), (5, 2), (7, 5)])
def test_leds_along_another_curve_are_no_mixture_of_cells(columns, rows):
    """On small walls, sums of a few neighbours come near to any curve of an LED's own cell."""
    display = wall(columns, rows)
    for led in range(min(display.leds, 9)):

        def to_wire(picture, led=led):
            light = srgb_to_linear(own_cells(picture, display) / 255)
            light[led] = np.clip(1.5 * light[led] - 0.1, 0, 1)
            return send(np.round(255 * light), display, display.chip.channels)

        for finding in told(display, to_wire):
            assert "own cell" not in finding.what
            assert "mixture" not in finding.what
