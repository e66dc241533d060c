"""What a film means: faults from exact films, states, and no finding where all is right."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from emulator import parse_display
from emulator.description.mapfile import read_map
from harness.survey.told import told, write_map
from tests.harness.survey.exact import seen_of

WALL = parse_display(
    '[grid]\ncolumns = 7\nrows = 5\n[chip]\npart = "WS2812B"\n[wiring]\nlines = 2\n',
    Path("wall.toml"),
)


def survey_of(*faults, **more):
    return told(seen_of(WALL, faults, **more))


def named(survey):
    return [[str(fault) for fault in cause.faults] for cause in survey.causes]


def test_nothing_is_found_on_a_right_wall_with_dark_corners_and_noise():
    rng = np.random.default_rng(1)
    y, x = np.mgrid[-1:1:5j, -1:1:7j]
    survey = survey_of(surface=1 - 0.3 * x**2 - 0.2 * y**2 + 0.1 * x, rng=rng, noise=0.02)
    assert survey.findings == ()
    assert {led.state for led in survey.leds} == {"fine"}
    assert not survey.as_built.lacks


@pytest.mark.parametrize(
    "fault",
    ["run-reversed run=1", "led-missing led=9", "led-extra after=3", "data-open line=1 after=4",
     "led-dark led=8", "other-chip first=7 last=13 chip=SK6812-RGBW"],
)  # fmt: skip
def test_a_fault_is_named_first(fault):
    survey = survey_of(fault)
    assert named(survey)[0][0] == fault
    assert len(survey.causes) == 1


def test_faults_that_look_the_same_are_named_together():
    faults = named(survey_of("led-swallows led=10 lit=yes"))[0]
    assert {"data-open after=10", "led-swallows led=10 lit=yes", "led-swallows led=11"} <= {*faults}
    assert " — or " in survey_of("led-swallows led=10 lit=yes").findings[0].what


def test_several_faults_are_all_named():
    found = named(survey_of("run-reversed run=1", "data-open line=1 after=3", "led-dark led=2"))
    assert {"run-reversed run=1", "data-open line=1 after=3", "led-dark led=2"} <= {
        one for some in found for one in some
    }


def test_a_dark_led_beside_one_that_was_not_read_is_uncertain():
    seen = seen_of(WALL, ["led-dark led=9"])
    wiring = WALL.wiring
    beside = int(wiring.row[9]), int(wiring.column[9]) + 1
    seen.number[beside] = -1
    survey = told(seen)
    assert survey.causes == ()
    assert (0, 9) in {(one.line, one.led) for one in survey.uncertain}


def test_a_mirrored_film_is_the_camera_or_the_wall():
    seen = seen_of(WALL)
    for cells in (seen.number, seen.light, seen.swing, seen.flicker):
        cells[:] = cells[:, ::-1].copy()
    seen.column[:] = WALL.grid.columns - 1 - seen.column
    survey = told(seen)
    assert len(survey.findings) == 1
    assert survey.findings[0].what.startswith("mirrored left-right: the camera, or other-corner")


def test_a_weak_channel_and_another_batch_are_warnings():
    weak = survey_of("channel-weak led=9 channel=green").findings
    assert [(one.severity, one.what) for one in weak] == [
        ("warning", "LED 9 of line 0 is weak in green")
    ]
    batch = survey_of("other-batch line=1 first=0 last=6").findings
    assert [(one.severity, one.where) for one in batch] == [("warning", "LEDs 0 to 6 of line 1")]


def test_the_map_as_built_makes_the_wall_right(tmp_path):
    """The map's own reader accepts it, and a wall wired so shows what the plan means."""
    survey = survey_of("runs-exchanged run=0 other=2")
    write_map(survey, tmp_path / "built.csv")
    wiring = read_map(tmp_path / "built.csv", WALL.gap)
    assert not survey.as_built.lacks
    first = [(int(wiring.column[n]), int(wiring.row[n])) for n in range(7)]
    assert first == [(column, 2) for column in range(7)]  # run 2 comes first on the wire


def test_a_cell_without_an_led_makes_the_map_lack_something():
    lacks = survey_of("led-missing led=9").as_built.lacks
    assert "column 4, row 1" in lacks
    assert "gap" in lacks


def test_json_has_null_where_an_led_is_dark():
    data = survey_of("led-dark led=9").to_json()
    assert data["leds"][9] == {
        "line": 0, "led": 9, "column": None, "row": None, "confidence": 0.0, "state": "dark",
    }  # fmt: skip
    assert data["leds"][8]["column"] == 5
