"""The parts of a flash judgement: its trace, its worst place, its pieces. The definition itself:
tests/outside/test_flash_definition.py."""

from __future__ import annotations

from dataclasses import asdict, replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from emulator import Bench, parse_display
from harness.flash import changes as finders
from harness.flash import judge
from harness.flash.changes import flashes_by_second, general_changes
from harness.flash.field import Fields
from harness.flash.judge import (
    field_signs,
    flashing,
    judge_bench,
    judge_light,
    most_in_step,
    relative_light,
    worse,
)

STEP_NS = 100_000_000


def wall(columns=12, rows=10, pitch_mm=20.0, distance_m=2.0):
    return parse_display(
        f"[grid]\ncolumns={columns}\nrows={rows}\npitch_mm={pitch_mm}\n[chip]\npart='WS2812B'\n"
        f"[wiring]\n[view]\ndistance_m={distance_m}\n",
        Path("wall.toml"),
    )


def blinking(display, lit, frames=12, colour=(1, 1, 1)):
    """Light (T, N, 3) in which LEDs `lit` (N,) blink five times a second, and its times."""
    on = np.arange(frames) % 2 == 1
    light = (on[:, None, None] & lit[None, :, None]) * np.array(colour, float)
    return light.astype(np.float32), np.arange(frames) * STEP_NS


def test_a_judgement_has_the_trace_of_its_worst_place():
    display = wall()
    lit = (display.wiring.column == 7) & (display.wiring.row == 3)
    light, times_ns = blinking(display, lit)
    judged = judge_light(light, times_ns, display)
    assert (judged.worst.column, judged.worst.row, judged.worst.most) == (7, 3, 5)
    assert (judged.worst.kind, judged.worst.led) == ("general", int(lit.argmax()))
    assert judged.luminance == pytest.approx([0, 1] * 6)
    alone = general_changes(judged.luminance[:, None])
    assert judged.flashes.tolist() == flashes_by_second(alone, times_ns)[:, 0].tolist()
    assert judged.times_ns.tolist() == times_ns.tolist()
    assert judged.distance_m == 2.0
    assert judge_light(light, times_ns, display, 5.0).distance_m == 5.0


@pytest.mark.parametrize(("distance_m", "fine"), [(11.0, False), (12.0, True)])
def test_whether_patterns_are_fine_is_told(distance_m, fine):
    display = wall()  # 20 mm are 0.1° at 11.46 m
    light, times_ns = blinking(display, np.ones(display.leds, bool))
    assert judge_light(light, times_ns, display, distance_m).fine is fine


def test_red_flashes_are_the_worst_where_they_are():
    display = wall()
    light, times_ns = blinking(display, display.wiring.column < 6, colour=(0.3, 0, 0))
    judged = judge_light(light, times_ns, display)
    assert (judged.worst.kind, judged.worst.most) == ("red", 5)
    assert judged.red.area_sr == pytest.approx(60 * (0.02 / 2) ** 2)
    assert judged.general.area_sr == 0
    assert judged.luminance.max() == pytest.approx(0.3 * 0.2126)


def test_where_nothing_flashes_the_place_that_changes_most_is_named():
    display = wall()
    light = np.zeros((3, display.leds, 3), np.float32)
    light[1:, 33] = 1
    judged = judge_light(light, np.arange(3) * STEP_NS, display)
    assert (judged.general.led, judged.general.most) == (33, 0)
    assert judged.below


def test_the_worst_is_looked_for_where_the_area_is():
    """Two LEDs far apart blink most often; a patch elsewhere, less often, is the larger area."""
    display = wall(columns=60, rows=10)
    frames, column = 24, display.wiring.column
    light = np.zeros((frames, display.leds, 3), np.float32)
    light[1::2, column == 58] = 1  # ten LEDs, 10 changes a second
    steps = np.arange(frames) % 12 < 9
    light[np.ix_((np.arange(frames) % 2 == 1) & steps, column < 10)] = 1
    judged = judge_light(light, np.arange(frames) * STEP_NS, display)
    assert judged.general.column < 10
    assert judged.general.area_sr == pytest.approx(100 * (0.02 / 2) ** 2)


@pytest.mark.parametrize("block", [1, 100, 4000])
def test_what_is_judged_in_pieces_is_judged_as_a_whole(monkeypatch, block):
    display, rng = wall(distance_m=1.5), np.random.default_rng(5)
    shown = rng.integers(0, 2, (40, 2))[:, display.wiring.column // 6]
    light = (shown[..., None] * rng.uniform(0.5, 1, 3)).astype(np.float32)
    times_ns = np.arange(40) * 60_000_000
    whole = judge_light(light, times_ns, display)
    assert whole.general.area_sr > 0
    assert whole.general.in_step > 0
    monkeypatch.setattr(judge, "_BLOCK", block)
    parts = judge_light(light, times_ns, display)
    assert asdict(parts.general) == asdict(whole.general)
    assert asdict(parts.red) == asdict(whole.red)
    assert parts.flashes.tolist() == whole.flashes.tolist()


@pytest.mark.parametrize("block", [1, 4_000_000])
def test_of_equal_areas_the_first_is_named(monkeypatch, block):
    display = wall(columns=60, rows=10)
    monkeypatch.setattr(judge, "_BLOCK", block)
    flashes = np.zeros((3, display.leds), np.int32)
    flashes[1, display.wiring.column < 10] = 4
    flashes[2, display.wiring.column >= 50] = 4
    area_sr, frames, column, _ = judge._largest_area(flashes, Fields(display, 2.0))
    assert area_sr == pytest.approx(100 * (0.02 / 2) ** 2)
    assert (frames.tolist(), column < 20) == ([1], True)


def test_a_field_rises_or_falls_as_a_whole_by_its_net_area():
    display = wall()
    fields = Fields(display, 2.0)  # 1e-4 sr a cell; 0.006 sr are 60 cells
    changes = np.zeros((4, display.leds), np.int8)
    changes[0, :61] = 1
    changes[1, :60] = 1
    changes[2, :61] = -1
    changes[3], changes[3, ::2] = 1, -1  # as many rise as fall
    signs = field_signs(changes, fields)
    assert signs.max(axis=1).tolist() == [1, 0, 0, 0]
    assert signs.min(axis=1).tolist() == [0, 0, -1, 0]
    assert signs.dtype == np.int8


def test_the_most_in_step_is_named_by_frame_and_cell():
    flashes = np.zeros((5, 120), np.int32)
    flashes[3, 4 * 12 + 7] = 6
    flashes[2, 100] = 5
    step = most_in_step(flashes, Fields(wall(), 2.0))
    assert tuple(step) == (6, 3, 7, 4)


def test_the_worse_of_two_has_the_larger_area_and_the_more_flashes_of_both():
    display = wall()
    light, times_ns = blinking(display, np.ones(display.leds, bool))
    one = judge_light(light, times_ns, display).general
    wide = replace(one, area_sr=0.02, in_step=1, most=4, led=1)
    often = replace(one, area_sr=0.001, in_step=9, most=9, led=2)
    for first, second in ((wide, often), (often, wide)):
        both = worse(first, second)
        assert (both.area_sr, both.in_step) == (0.02, 9)
        assert both.led == 1  # both are above: the larger area is the worse
    calm = replace(one, area_sr=0.005, in_step=1)
    assert worse(calm, often).area_sr == worse(often, calm).area_sr == 0.005
    mild = replace(one, area_sr=0.0, in_step=2, led=3)
    assert worse(mild, often) == replace(often, area_sr=0.001, in_step=9)
    assert (one.rank > mild.rank, mild.below, often.below, wide.below) == (True, True, False, False)


@pytest.mark.parametrize(
    ("area_sr", "in_step", "below"),
    [(0.006, 3, True), (0.00601, 3, False), (0.006, 4, False), (0.0, 0, True)],
)
def test_below_is_at_most_three_or_at_most_0_006_sr(area_sr, in_step, below):
    display = wall()
    light, times_ns = blinking(display, np.ones(display.leds, bool))
    one = judge_light(light, times_ns, display).general
    assert replace(one, area_sr=area_sr, in_step=in_step).below is below


def test_a_field_that_flashes_in_step_is_where_the_worst_second_is_looked_for():
    display = wall(columns=60, rows=10)
    fields = Fields(display, 2.0)
    changes = np.zeros((6, display.leds), np.int8)
    changes[1:, display.wiring.column < 10] = [[1], [-1], [1], [-1], [1]]
    changes[1:4, -1] = [1, -1, 1]
    times_ns = np.arange(6) * STEP_NS
    flashes = flashes_by_second(changes, times_ns)
    step = judge.Step(5, 4, 3, 2)
    found = flashing("general", changes, flashes, step, times_ns, fields, -STEP_NS)
    assert (found.in_step, found.most, found.to_ns) == (5, 2, 4 * STEP_NS)
    assert found.column < 10
    assert found.from_ns == -STEP_NS


@pytest.mark.parametrize(
    ("area", "others", "in_step", "there"),
    [
        (100, 9, 9, "area"),  # both above: the area
        (2, 9, 3, "area"),  # one LED flashes more often elsewhere, but the field does not
        (2, 9, 4, "field"),
        (0, 3, 4, "field"),
        (0, 3, 3, "others"),  # nothing too often: where most flashes are
    ],
)
def test_where_the_worst_second_is_looked_for(area, others, in_step, there):
    """`area` LEDs at the left flash too often; one at the right flashes `others` times; the field
    between flashes in step, each of its LEDs twice."""
    display = wall(columns=90, rows=10)
    column, row = display.wiring.column, display.wiring.row
    flashes = np.zeros((2, display.leds), np.int32)
    flashes[1, (column < 10) & (10 * column + row < area)] = 5
    flashes[1, (column >= 40) & (column < 50)] = 2
    flashes[1, (column == 89) & (row == 5)] = others
    step, times_ns = judge.Step(in_step, 1, 44, 5), np.arange(2) * STEP_NS
    fields = Fields(display, 2.0)
    found = flashing("general", flashes.astype(np.int8), flashes, step, times_ns, fields, 0)
    columns = {"area": range(10), "field": range(40, 50), "others": [89]}
    assert found.column in columns[there]


def test_where_a_small_area_flashes_too_often_and_a_field_in_step_the_field_is_the_worse():
    """Ten LEDs blink at one end; at the other halves of a field rise and fall by turns."""
    display = wall(columns=60, rows=10)
    column, slot = display.wiring.column, np.arange(20) % 4
    light = np.zeros((20, display.leds, 3), np.float32)
    light[1::2, column == 59] = 1
    light[np.ix_(slot == 0, column < 7)] = 1
    light[np.ix_(slot == 2, (column >= 7) & (column < 14))] = 1
    judged = judge_light(light, np.arange(20) * STEP_NS, display)
    assert 0 < judged.general.area_sr < 0.006
    assert judged.general.in_step > 3
    assert judged.general.column < 20
    assert judged.general.most < 4


def test_a_bench_is_judged_by_what_it_latched_and_the_walls_own_white():
    text = "[grid]\ncolumns=4\nrows=3\n[chip]\npart='WS2812B'\n[wiring]\n[canvas]\nbrightness=0.5\n"
    display = parse_display(text + "white=[1.0, 0.5, 0.25]\n", Path("dim.toml"))
    bench = Bench(display)
    for level in (0, 255, 0):
        bench.send(np.full(display.picture_shape, level, np.uint8))
    light = relative_light(bench.frames, display)
    assert light[1] == pytest.approx(1, abs=0.02)
    judged = judge_bench(bench)
    assert judged.times_ns.tolist() == bench.recorder.times_ns.tolist()
    assert judged.general.most == 1
    assert judged.distance_m == display.view.distance_m
    assert judge_bench(bench, 0.4).distance_m == 0.4
    with pytest.raises(ValueError, match=r"^there is no frame to judge$"):
        judge_bench(Bench(display))


@pytest.mark.parametrize(
    ("part", "drives", "shares"),
    [("SK6812-RGBW", [255, 255, 255, 255], [2, 2, 2]), ("APA102", [255, 255, 255, 31], [1, 1, 1])],
)
def test_the_fourth_channel_counts_as_it_lights(part, drives, shares):
    display = parse_display(
        f"[grid]\ncolumns=1\nrows=1\n[chip]\npart='{part}'\n[wiring]\n", Path("one.toml")
    )
    assert relative_light(np.array([drives], np.uint8), display)[0] == pytest.approx(shares)


@pytest.mark.slow
@given(st.integers(0, 10_000), st.integers(1, 200), st.integers(0, 200))
@settings(max_examples=25)
def test_changes_in_pieces_are_those_of_one_frame_at_a_time(seed, frames, cut):
    """Places that stand still, wander, fade, blink and turn red; 64 frames are seen in one go."""
    rng = np.random.default_rng(seed)
    light = np.clip(np.cumsum(rng.normal(0, 0.03, (frames, 12, 3)), axis=0) + 0.4, 0, 1.2)
    light[:, 0] = 0.5
    light[:, 1:4] *= rng.integers(0, 2, (frames, 3, 1))
    light[:, 4:8, 1:] *= rng.choice([0, 0, 1], (frames // 16 + 1, 4, 1)).repeat(16, axis=0)[:frames]
    light[:, 8] = 1, 0, 0
    light = light.astype(np.float32)
    luminance = finders.relative_luminance(light)
    for finder, values in (
        (finders.GeneralChanges, luminance),
        (finders.RedChanges, light),
    ):
        single, pieces = finder(), finder()
        one_by_one = np.concatenate([single.take(now[None]) for now in values])
        parts = [part for part in (values[:cut], values[cut:]) if len(part)]
        assert np.array_equal(np.concatenate([pieces.take(part) for part in parts]), one_by_one)
