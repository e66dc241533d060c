"""Flash safety in use: the assertion, the check, the command. The definition: tests/outside."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from emulator import Bench, SubjectError, load_display, parse_display
from harness.assertions import assert_no_flash_hazard
from harness.checks.check import run_checks
from harness.flash.judge import CAUTION, judge_bench, judge_light
from harness.patterns import PATTERNS
from harness.showing import show_for
from harness.subject import Subject, own_code
from harness.trial import Trial


def strobe(display, hertz, colour=255, seconds=2):
    """A bench on which the whole wall blinked."""
    bench = Bench(display)
    lit = np.full(display.picture_shape, colour, np.uint8)
    half_ns = round(5e8 / hertz)
    for number in range(round(seconds * 2 * hertz)):
        bench.clock.wait_until(number * half_ns)
        bench.send(lit if number % 2 else 0 * lit)
    return bench


@pytest.mark.parametrize("name", ["foyer", "banner", "sign"])
def test_the_assertion_fails_above_three_flashes_a_second_only(name):
    display = load_display(name)
    assert_no_flash_hazard(strobe(display, 3))
    with pytest.raises(AssertionError, match=r"general flashes at column \d+, row \d+") as failed:
        assert_no_flash_hazard(strobe(display, 4), distance_m=1)
    assert "seen from 1 m" in str(failed.value)
    assert CAUTION in str(failed.value)


def test_from_far_enough_away_the_whole_wall_is_small():
    # The sign is 16 × 8 cells of 6.944 mm: 0.00617 m², below 0.006 sr from 1.0142 m on.
    bench = strobe(load_display("sign"), 8)
    assert_no_flash_hazard(bench, distance_m=1.02)
    with pytest.raises(AssertionError):
        assert_no_flash_hazard(bench, distance_m=1.01)


def test_a_bench_that_showed_nothing_is_no_hazard():
    assert_no_flash_hazard(Bench(load_display("sign")))


def test_full_white_of_four_channels_is_1():
    # RGBW: white alone is half of the light of all four channels, and no more than 1.
    display = load_display("banner")
    bench = Bench(display)
    for drive in (0, 255):
        bench.send_frame(np.full(4 * display.leds, drive, np.uint8))
    assert judge_bench(bench).luminance[-1] == pytest.approx(1)
    bench.send_frame(np.tile(np.array([0, 0, 0, 255], np.uint8), display.leds))  # GRBW
    assert judge_bench(bench).luminance[-1] == pytest.approx(0.5)


def test_the_worst_place_and_second_are_named():
    display = load_display("foyer")
    bench = Bench(display)
    picture = np.zeros(display.picture_shape, np.uint8)
    for number in range(40):  # from 2 s to 3 s a patch blinks 5 times a second
        bench.clock.wait_until(number * 100_000_000)
        picture[5:9, 20:26] = 255 * (20 <= number < 30 and number % 2)
        bench.send(picture)
    worst = judge_bench(bench).worst
    assert worst.kind == "general"
    assert 20 <= worst.column < 26
    assert 5 <= worst.row < 9
    assert 2.0e9 <= worst.to_ns <= 3.1e9
    assert worst.to_ns - worst.from_ns == 1_000_000_000
    assert worst.most == 5
    # 24 cells of 33.333 mm seen from 6 m.
    assert worst.area_sr == pytest.approx(24 * (0.033333 / 6) ** 2)
    assert worst.below


def test_gaps_and_dark_walls_are_nothing():
    display = load_display("foyer")
    judged = judge_light(np.zeros((5, display.leds, 3), np.float32), np.arange(5), display)
    assert (judged.below, judged.worst.most, judged.worst.area_sr) == (True, 0, 0)
    with pytest.raises(ValueError, match="no frame"):
        judge_light(np.zeros((0, display.leds, 3), np.float32), np.arange(0), display)


# The promise of harness/patterns.py, 'nobody is exposed to more than three flashes a second'.
@pytest.mark.parametrize("name", ["channels", "checker", "full-load", "coded", "rows", "chase"])
def test_the_test_patterns_are_below_the_thresholds(name):
    display = load_display("sign")
    bench = Bench(display)
    pattern = PATTERNS[name]
    for _ in show_for(bench, lambda time_s: pattern.at(display, time_s), 5):
        pass
    assert_no_flash_hazard(bench, distance_m=0.3)


def result_of(display, to_wire):
    return run_checks(Trial(display, Subject("test", to_wire)), ("flash",)).results[0]


@pytest.mark.parametrize("name", ["foyer", "banner", "sign"])
def test_right_code_passes_the_check(name):
    display = load_display(name)
    result = result_of(display, own_code(display).to_wire)
    assert (result.verdict, result.findings) == ("pass", ())
    assert result.figures["caution"] == CAUTION


def near_wall():
    return parse_display(
        "[grid]\ncolumns=20\nrows=20\npitch_mm=20\n[chip]\npart='WS2812B'\n[wiring]\n"
        "[view]\ndistance_m=1\n",
        Path("near.toml"),
    )


def dark_between(right, calls):
    return lambda picture: right(picture * np.uint8(next(calls) % 2))


def red_between(right, calls):
    def to_wire(picture):
        if next(calls) // 2 % 2:
            picture[:] = (90, 0, 0)  # too dim for a general flash beside black
        else:
            picture[:] = 0
        return right(picture)

    return to_wire


@pytest.mark.parametrize(
    ("blinking", "kind", "other"),
    [(dark_between, "general", "red"), (red_between, "red", "general")],
)
@pytest.mark.parametrize("display", [near_wall(), load_display("foyer")], ids=lambda d: d.name)
def test_code_that_blinks_is_found(display, blinking, kind, other):
    to_wire = blinking(own_code(display).to_wire, iter(range(10_000)))
    (finding,) = result_of(display, to_wire).findings
    assert kind in finding.what
    assert other not in finding.what
    assert finding.severity == "warning"
    assert "clearance" in finding.evidence


def test_code_that_blinks_on_a_wall_that_is_small_in_the_view_passes():
    display = load_display("sign")  # 0.001 sr from 2.5 m
    to_wire = dark_between(own_code(display).to_wire, iter(range(10_000)))
    result = result_of(display, to_wire)
    assert result.findings == ()
    assert result.figures["general_most"] > 3


def test_code_that_sends_no_frame_is_named():
    with pytest.raises(SubjectError, match="test: "):
        result_of(near_wall(), lambda picture: "nothing")


def test_the_command_tells_both_kinds_and_leaves_a_chart(foreglow):
    status, out, err = foreglow("flash", "sign", "programme", "--seconds", "3")
    assert (status, err) == (0, "")
    for word in ("general", "red", "Worst:", "2.5 m", "Below", "no medical"):
        assert word in out
    assert max(map(len, out.splitlines())) <= 80
    with Image.open("foreglow-out/sign-flash.png") as chart:
        assert chart.width > 800


def test_the_command_as_json_from_another_distance(foreglow):
    words = ("flash", "sign", "chase", "--seconds", "2s", "--distance", "80cm", "--json")
    status, out, _ = foreglow(*words, "--plot", "chart.svg")
    found = json.loads(out)
    assert (status, found["below"], found["distance_m"]) == (0, True, 0.8)
    assert found["general"]["most_in_a_second"] == 1  # a chase lights each LED once
    assert "clearance" in found["caution"]
    assert "clearance" in Path("chart.svg").read_text()


@pytest.mark.parametrize(
    "words",
    [
        ("flash", "sign", "clok"),
        ("flash", "sign", "clock", "--seconds", "soon"),
        ("flash", "sign", "clock", "--seconds", "999999"),
        ("flash", "sign", "clock", "--plot", "chart.doc"),
        ("flash", "sign", "clock", "--distance", "0m"),
    ],
)
def test_bad_input_is_a_usage_error_and_leaves_nothing(foreglow, words):
    status, _, err = foreglow(*words)
    assert status == 2
    assert "Traceback" not in err
    assert list(Path().iterdir()) == []


def test_what_is_shown_for_a_while_is_shown_at_the_display_s_rate():
    display = load_display("sign")  # 60 frames a second
    bench, asked = Bench(display), []

    def source(time_s):
        asked.append(time_s)
        return np.full(display.picture_shape, len(asked), np.uint8)

    sent = list(show_for(bench, source, 0.5))
    assert [s.starts_ns for s in sent] == [round(n * 1e9 / 60) for n in range(30)]
    assert asked == [s.starts_ns / 1e9 for s in sent]
    assert len(bench.recorder) == 30
    assert bench.clock.now_ns() == 500_000_000
