"""On a large wall, LEDs are compared in parts, and some of them tell the responses: with the same
findings as all at once."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from emulator import canvas, parse_display
from harness.checks.check import run_checks
from harness.measure import measurement
from harness.subject.subject import Subject
from harness.subject.trial import Trial
from tests.tables import telling

WALL = parse_display(
    "[grid]\ncolumns=40\nrows=30\n[chip]\npart='WS2812B'\n[wiring]\n", Path("wall.toml")
)


def right(drives):
    return drives


def dim_one(drives):
    drives[700] //= 2
    return drives


def curve_twice(drives):
    return np.round(255 * (drives / 255) ** 2).astype(np.uint8)


def swapped(drives):
    return drives[:, [1, 0, 2]]


def tinted(drives):
    return np.round(drives * [1.0, 0.8, 0.6]).astype(np.uint8)


@pytest.mark.parametrize(
    "change", telling([right, dim_one, curve_twice, swapped, tinted], lambda one: one is dim_one)
)
def test_findings_are_the_same_in_parts(monkeypatch, change):
    def to_wire(picture):
        return canvas.to_wire(change(canvas.to_drives(picture, WALL).copy()), WALL)

    def findings():
        report = run_checks(Trial(WALL, Subject("code", to_wire)), ("map", "colour", "levels"))
        return [(f.check, f.what, f.leds, f.severity) for f in report.findings]

    whole = findings()
    assert bool(whole) == (change is not right)
    monkeypatch.setattr(measurement, "_AT_ONCE", 500)
    monkeypatch.setattr(measurement, "_MOST_TELLING", 600)
    assert findings() == whole
