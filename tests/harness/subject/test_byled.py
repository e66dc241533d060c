"""Functions that set LEDs by number are checked like any other code."""

from __future__ import annotations

import numpy as np
import pytest
from typer.testing import CliRunner

import harness
from emulator import SubjectError, load_display
from harness.cli import app
from tests.harness.subject.test_given import TWO_LINES, verdict

WIRING = TWO_LINES.wiring


def rightly(leds, picture):
    leds[:] = picture[WIRING.row, WIRING.column]
    leds.send()


def test_right_code_passes_and_a_wrong_index_is_named():
    def backwards(leds, picture):
        for number, (column, row) in enumerate(zip(WIRING.column, WIRING.row, strict=True)):
            leds[len(leds) - 1 - number] = picture[row, column]

    assert verdict(rightly) == "pass"
    report = harness.check(TWO_LINES, backwards, only="map")
    assert report.verdict == "fail"


def test_code_that_does_not_send_is_taken_as_it_returns():
    def unsent(leds, picture):
        leds[:] = picture[WIRING.row, WIRING.column]

    assert verdict(unsent) == "pass"


def test_what_is_not_set_again_stays_and_is_found():
    """LEDs keep their colour: code that sets only some leaves a part of the last picture."""

    def only_bright(leds, picture):
        for number in range(len(leds)):
            colour = picture[WIRING.row[number], WIRING.column[number]]
            if colour.any():
                leds[number] = colour

    report = harness.check(TWO_LINES, only_bright)
    assert report.verdict == "fail"
    assert any(finding.check == "timing" for finding in report.findings)


def test_two_frames_for_one_picture_are_told():
    def twice(leds, picture):
        leds.send()
        leds.send()

    with pytest.raises(SubjectError, match="sent 2 frames for one picture"):
        verdict(twice)


def test_a_number_past_the_end_is_told_with_its_line(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "show.py").write_text(
        "def fill(strip, picture):\n    strip[len(strip)] = 255, 0, 0\n"
    )
    with pytest.raises(SubjectError) as caught:
        CliRunner().invoke(app, ["check", "sign", "--leds", "show:fill"], catch_exceptions=False)
    assert "show.py, line 2: LedNumberError" in str(caught.value)
    assert "no LED 128: there are 128 here" in str(caught.value)
    assert str(caught.value).count("Fix") == 1


def test_the_command_checks_a_function_that_sets_leds(tmp_path, monkeypatch):
    display = load_display("sign")
    cells = np.stack([display.wiring.row, display.wiring.column]).tolist()
    monkeypatch.chdir(tmp_path)
    (tmp_path / "show.py").write_text(
        f"ROW, COLUMN = {cells}\n"
        "def fill(strip, picture):\n    strip[:] = picture[ROW, COLUMN]\n"
        "def wrong(leds, picture):\n    leds[:] = picture[ROW[::-1], COLUMN[::-1]]\n"
    )
    run = CliRunner().invoke
    assert run(app, ["check", "sign", "--only", "map", "--leds", "show:fill"]).exit_code == 0
    assert run(app, ["check", "sign", "--only", "map", "--leds", "show:wrong"]).exit_code == 1
    # --call takes such a function too, as it asks for leds
    assert run(app, ["check", "sign", "--only", "map", "--call", "show:wrong"]).exit_code == 1
    assert run(app, ["check", "sign", "--leds", "a:b", "--call", "a:b"]).exit_code == 2
