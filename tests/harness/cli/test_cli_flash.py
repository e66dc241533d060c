"""`foreglow flash` on your scenes and on recordings, of any length."""

from __future__ import annotations

import json
import tracemalloc
from pathlib import Path

import numpy as np
import pytest

from emulator import Bench, load_display
from emulator.recording.disk import DiskRecorder
from emulator.recording.recording import load_recording
from harness.flash.judge import judge_bench
from harness.flash.recorded import judge_recording
from harness.report.flash.plot import flash_figure
from tests.tables import telling

SCENE = """
import numpy as np

def picture(time_s, display):
    return np.full(display.picture_shape, 255 * (int(time_s * {changes}) % 2), np.uint8)
"""
NEAR = ("--distance", "80cm")  # the sign is then larger than 0.006 sr


# WCAG 2.2: a flash is a pair of opposing changes; more than three in a second fail.
@pytest.mark.parametrize(("changes", "status"), [(6, 0), (10, 1)])
def test_a_scene_file_is_judged(foreglow, changes, status):
    Path("mine.py").write_text(SCENE.format(changes=changes))
    words = ("flash", "sign", "mine.py", "--seconds", "1.5", *NEAR)
    found, out, err = foreglow(*words, "--json")
    assert (found, err) == (status, "")
    data = json.loads(out)
    assert data["below"] is (status == 0)
    assert data["general"]["most_in_a_second"] in (changes // 2, changes // 2 + 1)
    assert "scene mine.py" in foreglow(*words)[1]
    assert sorted(p.name for p in Path().iterdir() if p.name != "__pycache__") == [
        "foreglow-out",
        "mine.py",
    ]


def test_a_recording_is_judged_as_the_show_was(foreglow):
    display = load_display("sign")
    bench = Bench(display)
    random = np.random.default_rng(3)
    with DiskRecorder("rec", display, keep=None) as recorder:
        bench.recorder = recorder
        for number in range(150):
            bench.clock.wait_until(number * 30_000_000)
            bright = 255 if 80 < number < 100 and number % 2 else random.integers(0, 30)
            bench.send(np.full(display.picture_shape, bright, np.uint8))
        whole = judge_bench(bench, 0.8)
    status, out, _ = foreglow("flash", "sign", "rec", *NEAR, "--json")
    data = json.loads(out)
    assert (status, whole.below) == (1, False)
    for kind in ("general", "red"):
        want = getattr(whole, kind)
        assert data[kind]["most_in_a_second"] == want.most
        assert data[kind]["in_step_in_a_second"] == want.in_step
        assert data[kind]["area_sr"] == pytest.approx(want.area_sr, abs=1e-6)
    judged = judge_recording(load_recording("rec"), display, 0.8)
    assert (judged.times_ns == whole.times_ns).all()
    np.testing.assert_allclose(judged.luminance, whole.luminance, atol=1e-6)
    np.testing.assert_array_equal(judged.flashes, whole.flashes)
    # It flashes from 2.43 s on only.
    assert foreglow("flash", "sign", "rec", *NEAR, "--seconds", "2")[0] == 0


def test_a_recording_of_another_display_is_told(foreglow):
    foreglow("record", "sign", "corners", "--seconds", "1", "-o", "rec")
    status, _, err = foreglow("flash", "foyer", "rec")
    assert status == 2
    assert "not the display that was recorded" in err


def test_an_unknown_name_lists_scenes_and_patterns(foreglow):
    status, _, err = foreglow("flash", "sign", "choose")
    assert status == 2
    assert "did you mean 'chase'" in err
    assert "aurora" in err


def test_a_broken_scene_is_told_and_leaves_nothing(foreglow):
    Path("mine.py").write_text("def picture(time_s, display):\n    return 1 / 0\n")
    status, _, err = foreglow("flash", "sign", "mine.py")
    assert status == 2
    assert "ZeroDivisionError" in err
    assert [p.name for p in Path().iterdir() if p.name != "__pycache__"] == ["mine.py"]


def test_too_long_is_told_with_the_limit(foreglow):
    status, _, err = foreglow("flash", "sign", "clock", "--seconds", "601min")
    assert status == 2
    assert "at most 36000 s" in err


@pytest.mark.parametrize("seconds", telling(["0", "0s", "0min"], lambda seconds: seconds == "0s"))
def test_no_time_at_all_is_no_show(foreglow, seconds):
    foreglow("record", "sign", "corners", "--seconds", "1", "-o", "rec")
    for scene in ("corners", "rec"):
        status, _, err = foreglow("flash", "sign", scene, "--seconds", seconds)
        assert status == 2
        assert "--seconds must be more than 0" in err


def recorded(folder, levels):
    display = load_display("sign")
    drives = np.repeat(np.array(levels, np.uint8)[:, None, None], display.leds, axis=1)
    with DiskRecorder(folder, display) as recorder:
        recorder.extend(np.arange(len(levels)) * 25_000_000, drives.repeat(4, axis=2) % 32)
    return display, load_recording(folder)


def test_a_long_recording_is_judged_in_as_little_memory_as_a_short_one(tmp_path, monkeypatch):
    monkeypatch.setattr("harness.flash.recorded._BLOCK", 40 * 128)

    def most(count):
        display, recording = recorded(tmp_path / f"{count}", np.arange(count) % 30)
        tracemalloc.start()
        try:
            judge_recording(recording, display, 0.8)
            return tracemalloc.get_traced_memory()[1]
        finally:
            tracemalloc.stop()

    most(2)  # imports what it needs
    # A frame is 512 bytes of drives, 1536 of light, 128 of changes of either kind; what is kept
    # of it is one drive, light, luminance, time and count.
    assert most(300) < most(100) + 500 * 200


def test_the_chart_of_a_long_show_keeps_every_peak(tmp_path):
    levels = np.full(9000, 5)
    levels[4321] = 31
    display, recording = recorded(tmp_path, levels)
    judged = judge_recording(recording.between(100, 115), display, 0.8)
    long = judged.__class__(
        **{
            **vars(judged),
            "times_ns": recording.times_ns,
            "luminance": np.linspace(0.1, 0.2, 9000) + 0.7 * (np.arange(9000) == 4321),
            "flashes": 2 * (np.arange(9000) == 8999),
        }
    )
    luminance, flashes = (axes.lines[0] for axes in flash_figure("x", display, long).axes)
    peak = luminance.get_ydata().argmax()
    assert luminance.get_ydata()[peak] > 0.8
    assert luminance.get_xdata()[peak] == recording.times_ns[4321] / 1e9
    assert flashes.get_ydata()[-1] == 2
    assert len(luminance.get_xdata()) < 5000
