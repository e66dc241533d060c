"""foreglow judges a display by its own [canvas], whatever code drives it."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from emulator import load_display, parse_display
from emulator.canvas import Canvas, meant_light, to_wire
from harness.checks.check import run_checks
from harness.patterns.pattern import PATTERNS
from harness.patterns.sources import named_source
from harness.subject.subject import Subject, own_code
from harness.subject.trial import Trial
from tests.tables import telling

FOYER = parse_display(
    "[grid]\ncolumns = 18\nrows = 10\n[chip]\npart = 'WS2812B-V5'\n[wiring]\nlines = 2\n"
    "[cover]\ndepth_mm = 25\nwalls = 'white'\n",
    Path("foyer.toml"),
)
BALANCED = {"white": [1.0, 0.8, 0.7], "brightness": 0.5}


def with_canvas(display, **settings):
    return dataclasses.replace(display, canvas=display.canvas.model_copy(update=settings))


def report_on(display, to_wire_function, *only):
    return run_checks(Trial(display, Subject("test", to_wire_function)), only)


def by_hand(display, white=(1.0, 1.0, 1.0), exponent=2.2):
    """Somebody's own code for an RGB chip: a power, then factors; nothing of emulator.canvas."""

    def to_wire_function(picture):
        light = (picture.reshape(-1, 3)[display.wiring.cell] / 255) ** exponent * np.array(white)
        return to_wire(np.round(255 * light).astype(np.uint8), display)

    return to_wire_function


@pytest.mark.slow
@pytest.mark.parametrize("name", telling(["foyer", "banner", "sign"], lambda name: name == "sign"))
@pytest.mark.parametrize(
    "settings",
    telling(
        [
            BALANCED,
            {"curve": "L*", "dither": True, "brightness": 0.3},
            {"curve": 4.0, "white": [0.4, 1.0, 1.0]},
            {"white": [1.0, 0.5, 0.4], "brightness": 0.04},  # four levels of blue
            {"white": [0.7, 0.9, 1.0], "brightness": 0.03, "dither": True},
        ],
        lambda settings: settings is BALANCED or "curve" in settings,
    ),
)
def test_every_check_passes_on_foreglows_own_canvas(name, settings):
    display = with_canvas(load_display(name), **settings)
    # In a dark room: a wall dimmed so far is washed out elsewhere, as check `light` then says.
    dark = display.view.model_copy(update={"ambient_lx": 0.0})
    display = dataclasses.replace(display, view=dark)
    report = run_checks(Trial(display, own_code(display)))
    assert (report.verdict, report.findings) == ("pass", ())


@pytest.mark.parametrize("dither", [False, True])
def test_a_canvas_that_counts_its_frames_passes_too(dither):
    display = with_canvas(FOYER, **BALANCED, dither=dither)
    through = Canvas(display)
    report = report_on(display, lambda picture: through.wire(picture, 0), "colour", "levels")
    assert report.findings == ()


def test_own_code_that_applies_the_same_settings_passes_without_findings():
    display = with_canvas(FOYER, curve=2.2, **BALANCED)
    report = report_on(display, by_hand(display, (0.5, 0.4, 0.35)), "map", "colour", "levels")
    assert (report.verdict, report.findings) == ("pass", ())


@pytest.mark.parametrize(
    "white",
    telling(
        [[1.0, 1.0, 1.0], [0.5, 0.5, 0.5], [1.0, 0.8, 0.7], [0.5, 0.4, 0.2]],
        lambda white: white == [0.5, 0.4, 0.2],
    ),
)
def test_own_code_with_another_white_is_warned_of_both_whites(white):
    display = with_canvas(FOYER, curve=2.2, **BALANCED)
    report = report_on(display, by_hand(display, white), "map", "colour", "levels", "patterns")
    (finding,) = report.findings
    assert finding.severity == "warning"
    shown = " ".join(f"{share:.2f}" for share in white)
    assert f"at {shown} of full drive; [canvas] asks for 0.50 0.40 0.35" in finding.what


# The gains for D65 of a WS2812B, as `foreglow light` prints them: blue is far below half.
def test_own_white_balance_is_warned_of_where_the_display_file_names_none():
    report = report_on(FOYER, by_hand(FOYER, (0.79, 1.0, 0.35)))
    finding, nearly = report.findings  # 2.2 is not quite sRGB
    assert (finding.check, finding.severity) == ("colour", "warning")
    assert (nearly.check, nearly.severity) == ("levels", "note")
    assert finding.what.startswith("red shows at 79%, blue shows at 35% of green: full white is")
    assert "white = [0.788, 1, 0.349]" in finding.remedy


# By hand: 128/255 to the power of 4 is 6 %, to the power of 1 is 50 %.
def test_the_curve_asked_for_is_that_of_the_display_file():
    display = with_canvas(FOYER, curve=4.0)
    assert report_on(display, by_hand(display, exponent=4.0), "levels").findings == ()
    (finding,) = report_on(display, by_hand(display, exponent=1.0), "levels").findings
    assert finding.severity == "warning"
    assert (
        "not 6%: the levels follow an exponent of 1.00, the picture needs about 4.0" in finding.what
    )
    assert "the curve of [canvas] (4.0)" in finding.remedy


def test_what_a_picture_means_is_compared_in_the_light_of_the_display():
    display = with_canvas(FOYER, **BALANCED)
    picture = np.full(FOYER.picture_shape, (200, 100, 50), np.uint8)
    meant, shown = Trial(display, own_code(display)).compare(picture)
    assert np.abs(meant - shown).max() <= 0.5 / 255 + 1e-6
    assert meant.max() < 0.5


def test_drives_are_reported_as_they_are():
    display = with_canvas(FOYER, **BALANCED)
    report = run_checks(Trial(display, own_code(display)), ("colour", "levels"))
    colour, levels = (result.figures for result in report.results)
    assert colour["brightest_drive"] == pytest.approx(128 / 255, abs=1e-4)
    assert levels["full"] == pytest.approx(1, abs=0.01)


@pytest.mark.parametrize("curve", ["sRGB", "L*", 4.0])
def test_quarters_of_full_light_are_quarters_by_any_curve(curve):
    display = with_canvas(FOYER, curve=curve)
    pictures = PATTERNS["full-load"].pictures(display)
    light = meant_light(pictures, display)[:, ~FOYER.gap].mean(axis=(1, 2))
    assert light == pytest.approx([0.25, 0.5, 0.75, 1], abs=4 * 0.5 / 255)


def test_scenes_that_are_light_are_judged_as_that_light_by_any_curve():
    display = with_canvas(FOYER, curve=4.0)
    shown = []

    def to_wire_function(picture):
        shown.append(picture)
        return own_code(display).to_wire(picture)

    report_on(display, to_wire_function, "flash")
    light = named_source("aurora", display)(0.0)
    assert light.dtype.kind == "f"
    # The steps of 255 values to the power of 4 are at most 4/255 of full light high.
    assert min(np.abs((p / 255) ** 4 - light).max() for p in shown) <= 4 * 0.5 / 255
