"""Two recordings compared: the first difference, its place and size, and what came later."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from emulator import load_display
from emulator.errors import RecordingError
from emulator.recording.compare import compare, comparison_json, difference_picture, told
from tests.recording.recorded import FOYER, colours, recorded, red_green_blue


@pytest.fixture
def three(tmp_path):
    return red_green_blue(tmp_path / "rec")


def test_the_first_difference_is_named_with_place_and_size(tmp_path, three):
    drives = three.drives.copy()
    led = int(np.flatnonzero((FOYER.wiring.column == 4) & (FOYER.wiring.row == 7))[0])
    drives[1, led, 1] -= 30
    drives[2] += 1
    other = recorded(tmp_path / "other", drives, [0, 100, 305])
    found = compare(three, other)
    assert (found.frames, found.differing, found.missing, found.same) == (3, 2, 0, False)
    assert found.late_ns == 5_000_000
    assert found.first is not None
    assert (found.first.frame, found.first.led, found.first.most) == (1, led, 30)
    assert (found.first.one, found.first.other) == ((0, 200, 0), (0, 170, 0))
    words = told(three, other, found)
    for part in ("2 of 3 frames", "frame 1 at 0.100 s", "column 4, row 7", "G 170", "5.000 ms"):
        assert part in words
    assert compare(three, other, tolerance=1).differing == 1
    assert compare(three, other, tolerance=30).same
    page = np.asarray(difference_picture(three, other, found.first))
    assert page.shape[1] > 1000


def test_a_recording_is_the_same_as_itself_and_not_as_half_of_it(tmp_path, three):
    assert compare(three, three).same
    half = replace(three, times_ns=three.times_ns[:2], stored=three.drives[:2])
    assert compare(three, half).missing == 1
    assert compare(half, three).missing == -1
    assert not compare(three, half).same
    assert "second recording has 1 frame" in told(three, half, compare(three, half))
    with pytest.raises(RecordingError, match="wiring"):
        compare(three, replace(three, cell=three.cell[::-1]))


def noise(count, seed=5):
    return np.random.default_rng(seed).integers(0, 256, (count, FOYER.leds, 3), np.uint8)


@pytest.mark.parametrize("late", [1, 7, -3])
@pytest.mark.parametrize("tolerance", [0, 2])
def test_a_recording_that_began_earlier_is_told_as_the_same_shown_later(tmp_path, late, tolerance):
    whole = noise(40) // 2
    begin, other_begin = max(late, 0), max(-late, 0)
    one = recorded(tmp_path / "one", whole[begin:], np.arange(40 - begin) * 40)
    there = whole[other_begin:] + np.uint8(tolerance)
    other = recorded(tmp_path / "other", there, np.arange(40 - other_begin) * 40)
    found = compare(one, other, tolerance)
    assert not found.same
    assert found.differing == found.frames
    assert found.shift == late, "frame n of the one is frame n + shift of the other"
    which = "second" if late > 0 else "first"
    count = "1 frame" if late == 1 else f"{abs(late)} frames"
    assert f"the {which} recording shows the same {count} later" in told(one, other, found)
    assert compare(one, other, 255).shift == 0, "nothing differs then"


def test_other_pictures_are_not_explained_by_a_shift(tmp_path):
    one = recorded(tmp_path / "one", noise(40), np.arange(40) * 40)
    other = recorded(tmp_path / "other", noise(40, seed=6), np.arange(40) * 40)
    assert compare(one, other).shift == 0
    # Nor by the last frame of the one being the first of the other: too little overlaps.
    other = recorded(tmp_path / "last", np.roll(noise(40), 1, axis=0), np.arange(40) * 40)
    assert compare(one, other).shift == 1, "39 of 40 frames agree"
    turned = np.roll(noise(40), 25, axis=0)
    other = recorded(tmp_path / "turned", turned, np.arange(40) * 40)
    assert compare(one, other).shift == -15, "25 of 40 frames agree"


def test_times_that_are_all_later_are_told_apart_from_those_that_jitter(tmp_path, three):
    frames = colours((200, 0, 0), (0, 200, 0), (0, 0, 200))
    other = recorded(tmp_path / "later", frames, [250, 350, 553])
    found = compare(three, other)
    assert found.same
    assert (found.later_ns, found.late_ns) == (250_000_000, 3_000_000)
    assert told(three, other, found) == (
        "3 frames are the same; times of the second are 250.000 ms later; besides, times differ"
        " by up to 3.000 ms"
    )


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"rows": 10, "columns": 72}, "36 × 20 cells and 72 × 10"),
        ({"channels": "RGBW"}, "channels RGB and RGBW"),
    ],
)
def test_displays_that_are_not_alike_are_told_by_what_differs(three, change, told):
    with pytest.raises(RecordingError, match=told):
        compare(three, replace(three, **change))


def test_a_comparison_as_data_names_the_place_from_zero(tmp_path, three):
    drives = three.drives.copy()
    led = int(np.flatnonzero((FOYER.wiring.column == 4) & (FOYER.wiring.row == 7))[0])
    drives[2, led] = 9, 8, 7
    other = recorded(tmp_path / "other", drives, [0, 100, 300])
    data = comparison_json(three, other, compare(three, other))
    assert data["first"] == {
        "frame": 2, "time_s": 0.3, "leds": 1, "most": 193, "column": 4, "row": 7,
        "line": int(FOYER.wiring.line[led]), "led": int(FOYER.wiring.led[led]),
        "channels": "RGB", "one": [0, 0, 200], "other": [9, 8, 7],
    }  # fmt: skip
    assert {key: data[key] for key in ("same", "frames", "differing", "missing", "shift")} == {
        "same": False, "frames": 3, "differing": 1, "missing": 0, "shift": 0,
    }  # fmt: skip


def test_the_picture_of_a_difference_shows_both_and_the_cells(tmp_path):
    sign = load_display("sign")
    one = recorded(tmp_path / "one", np.full((1, sign.leds, 4), 31, np.uint8), [0], sign)
    drives = one.drives.copy()
    drives[0, 0] = 0
    other = recorded(tmp_path / "other", drives, [0], sign)
    found = compare(one, other)
    page = np.asarray(difference_picture(one, other, found.first))
    white = np.flatnonzero((page == 255).all(axis=2).any(axis=0))
    assert white.min() > 2 / 3 * page.shape[1], "the cell that differs, in the last tile only"
    assert len(white) < page.shape[1] / 3 / 16 * 1.5
