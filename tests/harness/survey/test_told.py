"""What a film means: faults from exact films, states, and no finding where all is right."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator import load_display, parse_display
from emulator.description.mapfile import read_map
from harness.survey.seen import DARK
from harness.survey.standing import BESIDE, ILLEGIBLE, MAYBE
from harness.survey.told import told, write_map
from tests.harness.survey.exact import seen_of
from tests.harness.survey.told_rates import outcome
from tests.harness.survey.walls import kinds, random_fault, telephone, wall

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
    survey = survey_of(surface=telephone(WALL, rng), rng=rng, noise=0.03)
    assert survey.findings == ()
    assert {led.state for led in survey.leds} == {"fine"}
    assert not survey.as_built.lacks


@pytest.mark.slow
@given(
    columns=st.integers(4, 9), rows=st.integers(3, 6), lines=st.integers(1, 3),
    start=st.sampled_from(["top-left", "top-right", "bottom-left", "bottom-right"]),
    along=st.sampled_from(["rows", "columns"]), path=st.sampled_from(["serpentine", "progressive"]),
    gap=st.booleans(), seed=st.integers(0, 999),
)  # fmt: skip
def test_nothing_is_found_on_any_right_wall(columns, rows, lines, start, along, path, gap, seed):
    """Whatever the wiring, and through a telephone that darkens corners and adds noise."""
    gaps = "gaps = [{ column = 1, row = 1 }]" if gap else ""
    display = parse_display(
        f'[grid]\ncolumns = {columns}\nrows = {rows}\n{gaps}\n[chip]\npart = "SK6812"\n[wiring]\n'
        f'start = "{start}"\nalong = "{along}"\npath = "{path}"\nlines = {lines}\n',
        Path("any.toml"),
    )
    rng = np.random.default_rng(seed)
    survey = told(seen_of(display, surface=telephone(display, rng), rng=rng, noise=0.03))
    assert survey.findings == ()
    assert {led.state for led in survey.leds} == {"fine"}
    assert not survey.as_built.lacks


@pytest.mark.parametrize("fault", ["led-missing led=9", "data-open line=1 after=4"])
def test_a_fault_is_named_first(fault):
    survey = survey_of(fault)
    assert named(survey)[0][0] == fault
    assert len(survey.causes) == 1


def test_faults_that_look_the_same_are_named_together():
    faults = named(survey_of("led-swallows led=10 lit=yes"))[0]
    assert {"data-open after=10", "led-swallows led=10 lit=yes", "led-swallows led=11"} <= {*faults}
    assert " — or " in survey_of("led-swallows led=10 lit=yes").findings[0].what


@pytest.mark.slow
@pytest.mark.parametrize("kind", kinds())
def test_every_kind_of_wiring_and_strip_is_named_from_an_exact_film(kind):
    """A sample of `python -m tests.harness.survey.told_rates`."""
    display, rng = wall("hall"), np.random.default_rng(kinds().index(kind))
    for _ in range(2):
        fault = random_fault(kind, display, rng)
        found = outcome(display, fault, seen_of(display))
        assert found in ("first", "alike", "no effect"), fault


@pytest.mark.slow
def test_a_bus_joint_is_named_from_how_the_light_falls():
    """The power model dims blue and green of a line of the foyer, more with each LED."""
    survey = told(seen_of(load_display("foyer"), ["bus-joint feed=1 conductor=plus"]))
    assert named(survey)[0][0] == "bus-joint feed=1 conductor=plus"
    assert len(survey.findings) == 1


@pytest.mark.slow
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


@pytest.mark.parametrize(
    ("fault", "led"),
    [("led-dark led=9", 9), ("led-missing led=9", WALL.wiring.line_lengths[0] - 1)],
)
def test_an_led_that_blinks_beside_the_cells_is_neither_dark_nor_nowhere(fault, led):
    seen = seen_of(WALL, [fault])
    number = WALL.wiring.placed.tolist().index(led)
    assert seen.why[number]
    why = (*seen.why[:number], BESIDE, *seen.why[number + 1 :])
    survey = told(replace(seen, why=why))
    line = int(WALL.wiring.line[led])
    one = next(o for o in survey.leds if (o.line, o.led) == (line, int(WALL.wiring.led[led])))
    assert one.state == "unread"
    assert (one.line, one.led, BESIDE) in survey.uncertain
    assert "led-dark led=9" not in {str(fault) for cause in survey.causes for fault in cause.faults}


@pytest.mark.parametrize("fault", ["led-dark led=9", "run-reversed run=2"])
def test_of_a_film_that_could_not_be_read_every_led_is_uncertain(fault):
    seen = seen_of(WALL, [fault])
    survey = told(replace(seen, why=(ILLEGIBLE,) * len(seen.why)))
    assert len(survey.uncertain) == len(seen.why)
    assert not {led.state for led in survey.leds} & {"dark", "nowhere"}


def test_an_led_with_a_reason_is_dark_only_if_a_fault_that_was_found_keeps_it_dark():
    why = f"{MAYBE} column 3 row 1, whose number cannot be read"
    for fault, uncertain in (("led-dark led=9", 0), ("channel-off led=9 channel=red", 1)):
        seen = seen_of(WALL, [fault])
        reasons = (*("" for _ in range(9)), why, *("" for _ in seen.why[10:]))
        assert len(told(replace(seen, why=reasons)).uncertain) == uncertain


def test_an_led_whose_cell_lights_with_no_number_of_its_own_stays_uncertain():
    """A chip of four bytes shifts all bytes behind it: cells there mix the numbers of two LEDs."""
    why = f"{MAYBE} column 3 row 1, whose number cannot be read"
    seen = seen_of(WALL, ["other-chip first=9 last=9 chip=SK6812-RGBW"])
    survey = told(replace(seen, why=(*seen.why[:10], why, *seen.why[11:])))
    assert named(survey)
    assert (0, 10, why) in survey.uncertain


def test_a_cell_that_does_not_blink_is_dark_though_its_colours_cannot_be_judged():
    seen = seen_of(WALL, ["data-open after=12"])
    seen.light[seen.number == DARK] = np.nan
    assert [str(cause.fault) for cause in told(seen).causes][:1] == ["data-open after=12"]


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


def test_light_that_varies_while_it_should_be_steady_is_a_warning():
    seen = seen_of(WALL)
    seen.flicker[1, 4] = 0.3  # LED 9: the first line goes back in its second row
    survey = told(seen)
    assert [(one.severity, one.what) for one in survey.findings] == [
        ("warning", "LED 9 of line 0 flickers")
    ]
    assert [led.led for led in survey.leds if led.state == "flickers"] == [9]


def test_a_colour_that_many_leds_lack_is_the_film_s_fault_and_of_few_the_leds():
    for few, says in ((1, "channel-off"), (6, "6 LEDs lack a colour in the film")):
        seen = seen_of(WALL)
        for cell in ((0, 1), (1, 3), (2, 5), (3, 0), (3, 4), (4, 2))[:few]:
            seen.light[cell][2] = 0.0
        findings = told(seen).findings
        assert len(findings) == 1
        assert findings[0].what.startswith(says)
