from __future__ import annotations

import dataclasses
import json
from pathlib import Path

import numpy as np
import pytest

from emulator import SubjectError, UnknownNameError, canvas, load_display, parse_display, shorthand
from emulator.canvas import to_drives, to_wire
from harness.checks.check import CHECKS, run_checks
from harness.subject.subject import Subject, own_code
from harness.subject.trial import Trial
from tests.tables import telling

# The foyer at half its size, with a gap in the middle and two lines too: 180 − 4 LEDs.
FOYER = parse_display(
    """
    [grid]
    columns = 18
    rows = 10
    pitch_mm = 33.333
    gaps = [{ column = 8, row = 4, columns = 2, rows = 2 }]
    [chip]
    part = "WS2812B-V5"
    [wiring]
    lines = 2
    [cover]
    depth_mm = 49
    """,
    Path("foyer.toml"),
)


def report_on(display, to_wire_function, *only):
    return run_checks(Trial(display, Subject("test", to_wire_function)), only)


def result(report, name):
    return next(r for r in report.results if r.check == name)


def said(report, severity="fault"):
    return [f.what for f in report.findings if f.severity == severity]


def through(wiring, display=FOYER):
    """Code under test that is made for another wiring."""
    theirs = dataclasses.replace(display, wiring=wiring)
    return lambda picture: to_wire(to_drives(picture, theirs), theirs)


@pytest.mark.parametrize("name", telling(["foyer", "banner", "sign"], lambda name: name == "sign"))
def test_every_check_passes_on_foreglows_own_map(name):
    display = load_display(name)
    report = run_checks(Trial(display, own_code(display)))
    assert (report.verdict, report.findings) == ("pass", ())
    assert [r.check for r in report.results] == list(CHECKS)
    assert report.to_json()["figures"]["map"]["leds_right"] == display.leds


def test_a_progressive_map_on_a_serpentine_wall_is_named():
    progressive = shorthand(FOYER.gap, path="progressive", lines=2)
    report = report_on(FOYER, through(progressive))
    assert report.verdict == "fail"
    (what,) = said(report)
    assert "progressive" in what
    assert "serpentine" in what
    assert "rows 1, 3, 6 and 8" in what


def test_red_and_green_swapped_are_named_and_the_patterns_are_left_to_that():
    def swapped(picture):
        return own_code(FOYER).to_wire(picture[..., [1, 0, 2]])

    report = report_on(FOYER, swapped)
    assert said(report) == ["red and green swapped"]
    assert "see colour" in result(report, "patterns").summary


def test_code_without_a_transfer_curve_is_warned_and_told_how_to_declare_it():
    def raw(picture):
        drives = picture.reshape(-1, 3)[FOYER.wiring.cell]
        return to_wire(drives, FOYER)

    report = report_on(FOYER, raw)
    assert report.verdict == "warning"
    (warning,) = report.findings
    assert "half grey (128 of 255) shows 50% of full light, not 22%" in warning.what
    assert "curve = 1.00" in warning.remedy
    assert result(report, "levels").figures["exponent"] == pytest.approx(1.0, abs=0.01)


def test_dimming_code_is_warned_and_told_how_to_declare_it():
    def dimmed(picture):
        drives = to_drives(picture, FOYER) // 4
        return to_wire(drives, FOYER)

    report = report_on(FOYER, dimmed)
    assert report.verdict == "warning"
    (warning,) = report.findings  # 255 // 4 of 255 is 0.247
    assert warning.what == "full white shows 25% of full light"
    assert "brightness = 0.247" in warning.remedy


def test_code_that_limits_the_current_is_still_read_right():
    def limited(picture):
        drives = canvas.limit_current(to_drives(picture, FOYER), FOYER.chip, 1.25)
        return to_wire(drives, FOYER)

    report = report_on(FOYER, limited)
    assert said(report) == []
    assert result(report, "map").figures["leds_right"] == FOYER.leds


def test_bytes_too_few_and_too_many_are_counted():
    def short_and_long(picture):
        first, second = to_wire(to_drives(picture, FOYER), FOYER)
        return [first[:-6], np.append(second, second[:9])]

    report = report_on(FOYER, short_and_long, "wire")
    assert said(report) == ["the last 2 LEDs of line 0 get no data"]
    assert said(report, "warning") == ["9 bytes too many on line 1: they go past the last LED"]


def test_a_rate_the_wire_cannot_carry_is_told_with_what_would():
    # 576 LEDs × 30 µs + 0.28 ms of reset (WS2812B-V5): 57 frames/s at most. Shared between two
    # lines it is 8.92 ms, enough for the 60 asked for.
    controller = FOYER.controller.model_copy(update={"frame_rate": 60.0})
    wall = np.zeros((24, 24), dtype=bool)
    display = dataclasses.replace(
        FOYER,
        grid=FOYER.grid.model_copy(update={"columns": 24, "rows": 24, "gaps": []}),
        wiring=shorthand(wall),
        controller=controller,
    )
    report = report_on(display, own_code(display).to_wire, "wire")
    (finding,) = report.findings
    assert "a frame takes 17.56 ms on the wire; this rate leaves 16.67 ms" in finding.what
    assert "share the LEDs among 2 lines, or ask for at most 56.9 frames/s" in finding.remedy


def test_code_that_goes_wrong_later_is_told_so_and_of_nothing_else():
    """Right for the first hundred frames, then it shows the frame before as well."""
    state = {"count": 0, "last": None}

    def haunted(picture):
        state["count"] += 1
        last, state["last"] = state["last"], picture.copy()
        if state["count"] > 100 and last is not None:
            picture = np.maximum(picture, last)
        return own_code(FOYER).to_wire(picture)

    report = report_on(FOYER, haunted)
    assert report.verdict == "fail"
    (finding,) = report.findings
    assert finding.check == "timing"
    assert finding.what.startswith("the answers change with time")
    assert result(report, "patterns").explained_by == ("timing",)
    assert result(report, "map").verdict == "cannot tell"  # neither right nor wrong
    assert report.verdict == "fail"


def test_unknown_checks_are_refused():
    with pytest.raises(UnknownNameError, match="did you mean 'map'"):
        run_checks(Trial(FOYER, own_code(FOYER)), ("mapp",))


def test_patterns_that_an_earlier_check_explains_do_not_pass():
    report = report_on(FOYER, lambda picture: own_code(FOYER).to_wire(picture[..., ::-1]))
    assert (result(report, "patterns").verdict, result(report, "patterns").findings) == ("fail", ())
    assert result(report, "patterns").explained_by == ("colour",)


def test_code_that_sends_each_picture_late_is_named_and_the_rest_is_still_read_right():
    state = {"last": np.zeros(FOYER.picture_shape, np.uint8)}

    def late(picture):
        state["last"], shown = picture.copy(), state["last"]
        return own_code(FOYER).to_wire(shown)

    report = report_on(FOYER, late)
    assert said(report) == ["each picture is shown one frame late"]
    assert result(report, "map").figures["leds_right"] == FOYER.leds


@pytest.mark.parametrize(
    ("spoil", "what"),
    [
        (lambda d: d // 255 * 255, "no level between dark and full is shown"),
        (lambda d: d ^ ((d > 0) & (d < 255)) * np.uint8(128), "the light falls from level"),
        (
            lambda d: np.where((d < 255) & (np.arange(3) == 1), d // 3, d),
            "green does not follow the other channels: ",
        ),
    ],
)
def test_broken_levels_are_faults(spoil, what):
    def broken(picture):
        return to_wire(spoil(to_drives(picture, FOYER)).astype(np.uint8), FOYER)

    report = report_on(FOYER, broken, "levels")
    assert report.verdict == "fail"
    assert any(text.startswith(what) for text in said(report))


def test_one_led_at_another_level_is_named():
    def odd(picture):
        drives = to_drives(picture, FOYER)
        drives[16] //= 2
        return to_wire(drives, FOYER)

    report = report_on(FOYER, odd, "levels")
    assert said(report) == ["LED 16 of line 0 shows 50% of the light of the rest"]


def test_code_that_inverts_the_picture_gives_no_figures_that_are_not_numbers():
    report = report_on(FOYER, lambda picture: own_code(FOYER).to_wire(255 - picture))
    assert report.verdict == "fail"
    assert "NaN" not in json.dumps(report.to_json())


def test_clocked_leds_without_their_three_ones_are_named():
    # APA102 datasheet: 111 and five bits of intensity begin the bytes of an LED.
    sign = load_display("sign")

    def bare(picture):
        (data,) = own_code(sign).to_wire(picture)
        data = data.copy()
        data[4 : 4 + 4 * 128 : 4] &= 31
        return data

    report = report_on(sign, bare, "wire")
    assert said(report) == ["box office is not framed as APA102 needs it"]
    assert "0b00011111" in report.findings[0].evidence


def test_an_inverted_picture_is_named():
    report = report_on(
        FOYER, lambda picture: own_code(FOYER).to_wire(255 - picture), "map", "colour", "levels"
    )
    assert result(report, "map").findings == ()
    assert said(report)[-1] == "every level is inverted: dark shows full light, and full dark"


def test_far_too_many_bytes_are_refused_before_they_cost_memory():
    with pytest.raises(SubjectError, match="10000000 bytes in a frame for 176 LEDs"):
        report_on(FOYER, lambda picture: b"\x11" * 10_000_000, "wire")


def _half_run(drives):
    drives[36:54] //= 2
    return drives


def _red_only(drives):
    drives[50:100, 1:] = 0
    return drives


@pytest.mark.parametrize(
    "change",
    telling(
        [
            _half_run,
            _red_only,
            lambda drives: drives // 10,
            lambda drives: np.maximum(drives, 40),
            lambda drives: (drives * np.linspace(0.3, 1, len(drives))[:, None]).astype(np.uint8),
            lambda drives: np.where(drives > 127, 255, 0).astype(np.uint8),
        ],
        lambda change: change in (_half_run, _red_only),
    ),
    ids=["half run", "red only", "tenth", "black lifted", "gains", "one bit"],
)
def test_the_map_is_right_whatever_the_light_of_each_led(change):
    def dimmed(picture):
        return to_wire(change(to_drives(picture, FOYER)), FOYER)

    (checked,) = report_on(FOYER, dimmed, "map").results
    assert (checked.verdict, checked.findings) == ("pass", ())


def test_an_inverted_picture_is_told_though_a_run_is_dim():
    def inverted(picture):
        return to_wire(255 - _half_run(to_drives(picture, FOYER)), FOYER)

    report = report_on(FOYER, inverted, "map", "colour")
    assert result(report, "map").findings == ()
    assert said(report) == ["colours are inverted: black shows white, red shows green and blue"]


def test_patterns_in_blocks_find_what_they_find_in_one_piece(monkeypatch):
    """Code that depends on the content of the picture: dark where only one cell is lit."""

    def shy(picture):
        lit = picture.any(axis=-1).sum()
        return to_wire(to_drives(picture * np.uint8(lit != 1), FOYER), FOYER)

    found = []
    for leds in (1, 7 * FOYER.leds, 1 << 30):
        monkeypatch.setattr("harness.subject.trial._LEDS_AT_ONCE", leds)
        one = result(report_on(FOYER, shy, "patterns"), "patterns")
        found.append((one.figures, one.findings))
    assert found[0][0]["steps_wrong"]["chase"] > 100
    assert found[0] == found[1] == found[2]


def test_the_same_mistake_on_many_lines_is_one_finding():
    text = "[grid]\ncolumns=5\nrows=16\n[chip]\npart='WS2812B'\n[wiring]\nlines=16\n"
    display = parse_display(text, Path("wall.toml"))

    def short(picture):
        return [line[:-3] for line in to_wire(to_drives(picture, display), display)]

    (finding,) = report_on(display, short, "wire").findings
    lines = "line 0, line 1, line 2, line 3, line 4, line 5 … (16 in all)"
    assert finding.what == f"the last LED of {lines} gets no data"
    assert finding.leds == tuple(range(4, 80, 5))

    def over(picture):
        return [np.append(line, 7) for line in to_wire(to_drives(picture, display), display)]

    (finding,) = report_on(display, over, "wire").findings
    assert finding.what == f"1 byte too many on {lines}: they go past the last LED"


def test_leds_on_many_lines_are_not_all_named():
    text = "[grid]\ncolumns=5\nrows=16\n[chip]\npart='WS2812B'\n[wiring]\nlines=16\n"
    display = parse_display(text, Path("wall.toml"))
    wiring, order = display.wiring, np.random.default_rng(1).permutation(80)
    shuffled = dataclasses.replace(wiring, column=wiring.column[order], row=wiring.row[order])
    (finding,) = report_on(display, through(shuffled, display), "map").findings
    assert finding.where.startswith("line 0, LEDs 0 to 4; line 1, LEDs 0 to 4")
    assert finding.where.endswith(f"; … ({len(finding.leds)} LEDs on 16 lines in all)")
