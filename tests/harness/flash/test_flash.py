"""Flash safety in use: the assertion, the check, the command. The definition: tests/outside."""

from __future__ import annotations

import json
import tracemalloc
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from emulator import Bench, SubjectError, load_display, parse_display
from harness.assertions import assert_no_flash_hazard
from harness.checks.check import run_checks
from harness.flash.judge import CAUTION, judge_bench, judge_light
from harness.flash.running import RunningJudge
from harness.patterns.pattern import PATTERNS, Pattern
from harness.patterns.showing import show_for
from harness.subject.subject import Subject, own_code
from harness.subject.trial import Trial
from tests.canvas.walls import wall


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


def test_a_bench_that_showed_nothing_proves_nothing():
    with pytest.raises(AssertionError, match="no frame has been latched yet"):
        assert_no_flash_hazard(Bench(load_display("sign")))


@pytest.mark.parametrize("part", ["WS2812B", "SK6812-RGBW", "APA102"])
@pytest.mark.parametrize(
    "section", ["", "brightness = 0.3", "white = [1.0, 0.5, 0.4]", "dither = true"]
)
def test_a_picture_flashes_alike_on_every_wall_that_shows_it(part, section):
    """The definition counts from the maximum shown: the white of the wall, even a dim one."""
    display = wall(section, part, (10, 10))
    for level, below in ((0.09, True), (0.14, False), (1.0, False)):
        bench = Bench(display)
        for number in range(24):
            bench.clock.wait_until(number * 100_000_000)
            bench.send(np.full(display.picture_shape, level * (number % 2), np.float32))
        judged = judge_bench(bench, distance_m=0.5)
        assert judged.below is below
        assert judged.luminance.max() == pytest.approx(level, abs=0.015)  # a drive, where it is dim


def test_the_fourth_channel_beside_white_counts_from_a_white_of_its_own():
    display = wall("", "SK6812-RGBW", (10, 10))
    drives = {0.9: (230, 230, 230, 0), 1.0: (255, 255, 255, 0), 2.0: (255, 255, 255, 255)}
    for low, high, below in ((1.0, 2.0, False), (0.9, 1.0, True)):
        bench = Bench(display)
        for number in range(24):
            bench.clock.wait_until(number * 100_000_000)
            shown = np.array(drives[high if number % 2 else low], np.uint8)
            bench.send_frame(np.tile(shown, display.leds))
        judged = judge_bench(bench, distance_m=0.5)
        assert judged.luminance.max() == pytest.approx(high)
        assert judged.below is below


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


def shown_whole(pattern, display):
    """A bench that showed every step of a pattern, and a second of it again."""
    bench, hold_ns = Bench(display), pattern.hold_ms * 1_000_000
    for number in range(pattern.steps(display) + 1_000 // pattern.hold_ms + 1):
        bench.clock.wait_until(number * hold_ns)
        bench.send(pattern.draw(display, number % pattern.steps(display)))
    return bench


# The promise of patterns/pattern.py, 'nobody is exposed to more than three flashes a second'.
@pytest.mark.parametrize("name", PATTERNS)
def test_the_test_patterns_are_below_the_thresholds(name):
    assert_no_flash_hazard(shown_whole(PATTERNS[name], load_display("sign")), distance_m=0.3)


@pytest.mark.parametrize("dark_steps", [0, 120])
def test_a_test_pattern_that_flashes_would_be_found_however_late(dark_steps):
    display = load_display("sign")
    level = [0] * dark_steps + [0, 255] * 10
    lit = np.ones(display.picture_shape, np.uint8)
    strobe = Pattern("strobe", "", 100, lambda d: len(level), lambda d, step: lit * level[step])
    with pytest.raises(AssertionError, match="general flashes"):
        assert_no_flash_hazard(shown_whole(strobe, display), distance_m=0.3)


def near_wall():
    return parse_display(
        "[grid]\ncolumns=20\nrows=20\npitch_mm=20\n[chip]\npart='WS2812B'\n[wiring]\n"
        "[view]\ndistance_m=1\n",
        Path("near.toml"),
    )


def judged_while_it_comes(light, times_ns, display):
    running = RunningJudge(display)
    for now, time_ns in zip(light, times_ns.tolist(), strict=True):
        running.take(now, time_ns)
    return running


@given(st.integers(0, 10_000), st.integers(1, 12), st.booleans())
@settings(max_examples=15)
def test_judged_while_it_comes_as_when_it_is_over(seed, patches, red):
    """Patches of the wall that blink, fade and turn red at their own rates and times."""
    display, rng = near_wall(), np.random.default_rng(seed)
    times_ns = np.cumsum(rng.integers(8, 120, 90)) * 1_000_000
    light = np.zeros((len(times_ns), display.leds, 3), np.float32)
    cells = display.wiring.column // 4 + display.wiring.row // 4 * 5
    for patch in range(patches):
        steps = rng.choice([0, 0, 0, 1], len(times_ns)).cumsum() % 2
        levels = rng.uniform(0, 1, 2)[steps] if patch % 3 else np.abs(np.sin(times_ns / 3e8))
        colour = (1, 0, 0) if red and patch % 2 else (1, 1, 1)
        light[:, cells == patch] = levels[:, None, None] * np.array(colour)
    running, whole = (
        judged_while_it_comes(light, times_ns, display),
        judge_light(light, times_ns, display),
    )
    for one, other in ((running.general, whole.general), (running.red, whole.red)):
        assert (one.below, one.area_sr, one.in_step) == (other.below, other.area_sr, other.in_step)
        assert one.most <= other.most or other.area_sr


def test_what_is_kept_while_it_comes_does_not_grow():
    display = near_wall()
    light = np.ones((display.leds, 3), np.float32)
    running, held = RunningJudge(display), []
    tracemalloc.start()
    for number in range(600):  # 24 s of blinking; a second is 25 frames
        running.take(light * np.float32(number % 2), number * 40_000_000)
        if number in (200, 584):  # as many of them wait to be judged, or a few
            held.append(tracemalloc.get_traced_memory()[0])
    tracemalloc.stop()
    assert held[1] < 1.05 * held[0]


@pytest.mark.parametrize(("last_ns", "most"), [(1_000_000_000, 4), (1_000_000_001, 3)])
def test_both_ends_of_a_second_belong_to_it_while_it_comes(last_ns, most):
    """Eight changes, worked by hand; harness/flash/README.md has the rule."""
    display = near_wall()
    times_ns = np.array([0, 3, *(3 + n * 100_000_000 for n in range(1, 7)), 3 + last_ns])
    light = np.ones((9, display.leds, 3), np.float32) * (np.arange(9) % 2)[:, None, None]
    running = judged_while_it_comes(light.astype(np.float32), times_ns, display)
    assert (running.general.most, running.general.in_step) == (most, most)


def test_frames_like_the_one_before_may_be_left_out():
    display = near_wall()
    steps = np.random.default_rng(4).integers(0, 2, 60)
    light = np.repeat(steps[:, None, None], display.leds, axis=1).astype(np.float32)
    light = light * np.ones(3, np.float32)
    times_ns = np.arange(60) * 40_000_000
    changed = np.diff(steps, prepend=-1) != 0
    some = judged_while_it_comes(light[changed], times_ns[changed], display)
    every = judged_while_it_comes(light, times_ns, display)
    assert some.general == every.general
    assert every.general.in_step > 3


@pytest.mark.parametrize(("cells", "below"), [(1, True), (2, False)])
def test_a_fine_balanced_pattern_does_not_count_while_it_comes_either(cells, below):
    """WCAG 2.2: squares under 0.1°, which is 13.96 mm at 8 m; cells of 13 mm, 0.006 sr are 2272."""
    display = parse_display(
        "[grid]\ncolumns=60\nrows=60\npitch_mm=13\n[chip]\npart='WS2812B'\n[wiring]\n"
        "[view]\ndistance_m=8\n",
        Path("fine.toml"),
    )
    odd = (display.wiring.column // cells + display.wiring.row // cells) % 2
    light = np.stack([np.repeat(((odd + n) % 2)[:, None], 3, axis=1) for n in range(12)])
    times_ns = np.arange(12) * 100_000_000
    running = judged_while_it_comes(light.astype(np.float32), times_ns, display)
    assert running.general.below is below


def result_of(display, to_wire):
    report = run_checks(Trial(display, Subject("test", to_wire)), ("flash",))
    return next(result for result in report.results if result.check == "flash")


@pytest.mark.parametrize("name", ["foyer", "banner", "sign"])
def test_right_code_passes_the_check(name):
    display = load_display(name)
    result = result_of(display, own_code(display).to_wire)
    assert (result.verdict, result.findings) == ("pass", ())
    assert result.figures["caution"] == CAUTION


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
    for word in ("general", "red", "Worst:", "2.5 m", "Below", "not a medical"):
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
