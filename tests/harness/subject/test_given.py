"""The forms in which you can give the code under test."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import harness
from emulator import canvas, load_display, open_output, parse_display
from emulator.errors import MapFileError, SubjectError
from harness.subject.given import subject_of

TWO_LINES = parse_display(
    "[grid]\ncolumns=4\nrows=3\n[chip]\npart='SK6812'\n[wiring]\nlines=3\npath='progressive'\n",
    Path("lines.toml"),
)


@pytest.fixture(scope="module")
def sign():
    return load_display("sign")


def rightly(picture, display=TWO_LINES):
    return canvas.to_wire(canvas.to_drives(picture, display), display)


def mirrored(picture, display=TWO_LINES):
    return rightly(picture[:, ::-1], display)


def verdict(subject, display=TWO_LINES):
    return harness.check(display, subject, only="map").verdict


def csv_of(wiring, path, swap=False):
    column = wiring.columns - 1 - wiring.column if swap else wiring.column
    rows = zip(wiring.line, wiring.led, column, wiring.row, strict=True)
    text = "\n".join(",".join(map(str, row)) for row in rows)
    path.write_text(f"line,led,column,row\n{text}\n")
    return path


def test_a_function_of_the_picture_returns_the_bytes():
    assert verdict(rightly) == "pass"
    assert verdict(mirrored) == "fail"


def test_a_function_of_picture_and_output_sends_one_frame():
    assert verdict(lambda picture, out: out.send(picture)) == "pass"
    assert verdict(lambda picture, out: out.send_frame(rightly(picture))) == "pass"
    assert verdict(lambda picture, out: out.send(picture[:, ::-1])) == "fail"
    assert verdict(lambda picture, out: out.send_frame(mirrored(picture))) == "fail"


@pytest.mark.parametrize("frames", [0, 2])
def test_a_sender_that_sends_none_or_two_frames_is_told(frames):
    def show(picture, out):
        for _ in range(frames):
            out.send(picture)

    with pytest.raises(SubjectError, match=f"sent {frames} frames for one picture"):
        verdict(show)


def test_a_second_argument_with_a_default_is_no_output():
    assert verdict(lambda picture, gain=1.0: rightly(picture)) == "pass"


@pytest.mark.slow
def test_an_output_and_its_method_are_asked_what_they_show():
    out = open_output("memory:", TWO_LINES)
    assert verdict(out) == verdict(out.send) == "pass"

    class Mirrored(type(out)):
        def send(self, picture):
            return super().send(picture[:, ::-1])

    assert verdict(Mirrored(TWO_LINES)) == verdict(Mirrored(TWO_LINES).send) == "fail"


def test_an_output_of_another_display_is_told(sign):
    with pytest.raises(SubjectError, match="was opened for 'sign', not for"):
        verdict(open_output("memory:", sign))


def test_an_object_that_is_called_is_a_function():
    class Wall:
        def __call__(self, picture):
            return mirrored(picture)

    assert verdict(Wall()) == "fail"


def test_a_csv_file_is_a_map(tmp_path, sign):
    for swap, expected in ((False, "pass"), (True, "fail")):
        path = csv_of(sign.wiring, tmp_path / f"{swap}.csv", swap)
        assert verdict(path, sign) == verdict(str(path), sign) == expected
    with pytest.raises(MapFileError, match="no such file"):
        verdict(tmp_path / "none.csv", sign)


def test_a_name_is_a_function_in_a_module(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.syspath_prepend(tmp_path)
    name = "given_by_name_for_a_test"
    (tmp_path / f"{name}.py").write_text("def to_wire(picture):\n    return bytes(36)\n")
    with subject_of(f"{name}:to_wire", TWO_LINES) as subject:
        lines = subject.to_wire(np.zeros((3, 4, 3), np.uint8))
    assert [line.tolist() for line in lines] == [[0] * 12] * 3


def test_a_named_function_that_ends_its_process_ends_no_test_run(tmp_path, monkeypatch):
    monkeypatch.syspath_prepend(tmp_path)
    (tmp_path / "ends_for_a_test.py").write_text(
        "import os\n\n\ndef to_wire(picture):\n    os._exit(0)\n"
    )
    with pytest.raises(SubjectError, match="ends_for_a_test:to_wire"):
        verdict("ends_for_a_test:to_wire")


@pytest.mark.slow
@pytest.mark.parametrize("name", ["sign", "foyer", "banner"])
def test_an_array_of_cells_is_a_map(name):
    display = load_display(name)
    wiring = display.wiring
    assert verdict(wiring.cell, display) == "pass"
    assert verdict(wiring.cell.tolist(), display) == "pass"
    assert verdict(np.stack([wiring.column, wiring.row], axis=1), display) == "pass"
    wrong = wiring.cell.copy()
    wrong[[3, 7]] = wrong[[7, 3]]
    report = harness.check(display, wrong, only="map")
    assert report.verdict == "fail"
    assert report.figures["map"]["leds_wrong"] == [3, 7]


def test_an_array_that_is_too_short_leaves_the_last_leds_without_bytes(sign):
    report = harness.check(sign, sign.wiring.cell[:-2], only=("wire", "map"))
    assert any("the last 2 LEDs" in finding.what for finding in report.findings)


def test_an_array_that_is_too_long_sends_too_many_bytes(sign):
    report = harness.check(sign, [*sign.wiring.cell, 0], only="wire")
    assert [finding.severity for finding in report.findings] == ["warning"]


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ([0.5, 1.0], "an array of float64"),
        ([], "is not a map"),
        (np.zeros((4, 3), int), r"an array of shape \(4, 3\) is not a map"),
        ([0, 1, 128], "entry 2 of the map is 128: outside 16 × 8"),
        ([[0, 0], [16, 0]], r"entry 1 of the map is \[16, 0\]"),
        ([0, -2], "entry 1 of the map is -2"),
        ([[0, 0], [-1, 0]], r"entry 1 of the map is \[-1, 0\]"),
        ([[0, 1], [2]], "is not a map"),
        (3, "is not a map"),
    ],
)
def test_what_is_no_map_is_told_with_its_place(sign, given, said):
    with pytest.raises(SubjectError, match=said), subject_of(given, sign):
        pass


def test_nothing_is_foreglows_own_map():
    assert verdict(None) == "pass"


def test_a_function_that_returns_nothing_is_told():
    with pytest.raises(SubjectError, match="returned None"):
        verdict(lambda picture: None)


def test_the_report_has_verdict_findings_figures_and_json():
    report = harness.check(TWO_LINES, mirrored, only=["map", "colour"])
    assert isinstance(report, harness.Report)
    assert (report.verdict, report.display) == ("fail", TWO_LINES.name)
    assert all(isinstance(finding, harness.Finding) for finding in report.findings)
    assert report.figures["map"]["leds"] == 12
    assert report.to_json()["figures"]["map"]["leds_right"] == 0
    assert set(report.figures) == {"map", "colour"}


def test_a_display_may_be_given_by_name():
    assert harness.check("sign", only="wire").verdict == "pass"
