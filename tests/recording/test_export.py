"""Exports, read again by Pillow, numpy and csv; two recordings compared."""

from __future__ import annotations

import csv
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from emulator import load_display
from emulator.recording.compare import compare, difference_picture, told
from emulator.recording.disk import DiskRecorder
from emulator.recording.export import export, frame_durations
from emulator.recording.recording import RecordingError, load_recording

FOYER = load_display("foyer")
MILLISECOND = 1_000_000


def recorded(folder, drives, times_ms, display=FOYER):
    with DiskRecorder(folder, display) as recorder:
        recorder.extend((np.asarray(times_ms) * MILLISECOND).astype(np.int64), drives)
    return load_recording(folder)


def colours(*each, display=FOYER):
    """One frame a colour, over the whole wall."""
    return np.stack([np.tile(np.array(c, np.uint8), (display.leds, 1)) for c in each])


@pytest.fixture
def three(tmp_path):
    """Red from 0 ms, green from 100 ms, blue from 300 ms."""
    frames = colours((200, 0, 0), (0, 200, 0), (0, 0, 200))
    return recorded(tmp_path / "rec", frames, [0, 100, 300])


def animation(path):
    """(RGB pictures, durations in ms) of a file, as Pillow reads it."""
    pictures, durations = [], []
    with Image.open(path) as image:
        for frame in range(image.n_frames):
            image.seek(frame)
            pictures.append(np.asarray(image.convert("RGB")).astype(int))
            durations.append(round(image.info["duration"]))
    return pictures, durations


@pytest.mark.parametrize("form", ["gif", "apng"])
def test_an_animation_shows_each_frame_as_long_as_the_wall_did(tmp_path, three, form):
    path = tmp_path / f"clip.{form}"
    export(three, path, kind="drives")
    pictures, durations = animation(path)
    assert durations == [100, 200, 150]  # the last as long as the others on average
    for picture, channel in zip(pictures, range(3), strict=True):
        assert picture.shape == (200, 360, 3)
        assert picture[5, 5, channel] == 200, "the code value is the drive"
        assert picture[5, 5].sum() == 200
        assert picture[95, 175].sum() == 0, "the speaker in the middle is dark"


@pytest.mark.parametrize("form", ["gif", "apng"])
def test_as_light_the_leds_own_colours_show_behind_the_cover(tmp_path, three, form):
    path = tmp_path / f"clip.{form}"
    export(three, path, kind="light")
    pictures, durations = animation(path)
    assert durations == [100, 200, 150]
    for picture, channel in zip(pictures, range(3), strict=True):
        assert picture[50, 100].argmax() == channel
        assert picture[50, 100, channel] > 140


def test_rounding_of_durations_does_not_add_up(tmp_path):
    # 30 frames a second: 33.3 ms are 3 or 4 hundredths (GIF89a), 10 s stay 10 s.
    found = recorded(tmp_path, colours(*[(n % 250, 0, 0) for n in range(301)]),
                     np.arange(301) * 1000 / 30)  # fmt: skip
    shown, durations = frame_durations(found, ".gif")
    assert shown == list(range(301))
    assert set(durations) == {30, 40}
    assert sum(durations[:-1]) == 10_000


def test_frames_too_short_for_a_gif_are_left_out(tmp_path):
    found = recorded(tmp_path, colours(*[(n, 0, 0) for n in range(101)]), np.arange(101) * 5)
    shown, durations = frame_durations(found, ".gif")
    assert set(durations) == {20}
    begins = np.cumsum([0, *durations[:-1]])
    assert np.abs(begins - found.times_ns[shown] / MILLISECOND).max() <= 5, "half a tick"
    assert frame_durations(found, ".apng")[0] == list(range(101))


def test_one_frame_is_an_animation_too(tmp_path):
    found = recorded(tmp_path / "rec", colours((9, 9, 9)), [50])
    export(found, tmp_path / "one.gif", kind="drives")
    assert len(animation_of_one(tmp_path / "one.gif")) == 1


def animation_of_one(path):
    with Image.open(path) as image:
        return [np.asarray(image.convert("RGB")) for _ in range(image.n_frames)]


@pytest.mark.parametrize(("at_s", "channel"), [(0.0, 0), (0.0999, 0), (0.1, 1), (0.29, 1), (9, 2)])
def test_a_still_is_what_was_shown_at_that_moment(tmp_path, three, at_s, channel):
    export(three, tmp_path / "s.png", kind="drives", at_s=at_s)
    with Image.open(tmp_path / "s.png") as image:
        assert np.asarray(image)[5, 5].argmax() == channel


def test_a_contact_sheet_has_every_frame(tmp_path, three):
    export(three, tmp_path / "sheet.png")
    with Image.open(tmp_path / "sheet.png") as image:
        page = np.asarray(image).astype(int)
    strongest = page[page.max(axis=2) > 150].argmax(axis=1)
    assert set(strongest.tolist()) == {0, 1, 2}
    with pytest.raises(RecordingError, match="moment"):
        export(three, tmp_path / "no.png", kind="drives")


@pytest.mark.parametrize("name", ["foyer", "banner", "sign"])
def test_numbers_come_out_as_they_went_in(tmp_path, name):
    display = load_display(name)
    channels = display.chip.channels
    shape = (3, display.leds, len(channels))
    drives = np.random.default_rng(3).integers(0, 32, shape, np.uint8)
    found = recorded(tmp_path / "rec", drives, [1, 2, 3], display)
    export(found, tmp_path / "d.npz", kind="drives")
    export(found, tmp_path / "l.npz")
    export(found, tmp_path / "d.csv", kind="drives")
    export(found, tmp_path / "l.csv")
    with np.load(tmp_path / "d.npz", allow_pickle=False) as arrays:
        assert (arrays["drives"] == drives).all()
        assert arrays["times_ns"].tolist() == [1_000_000, 2_000_000, 3_000_000]
        at = arrays["row"] * display.grid.columns + arrays["column"]
        assert (at == display.wiring.cell).all()
    with np.load(tmp_path / "l.npz", allow_pickle=False) as arrays:
        light = arrays["light"]
    scale = {"RGB": 1, "RGBW": 1, "RGBI": drives[..., 3:] / 31}[channels]
    plus = drives[..., 3:] / 255 if channels == "RGBW" else 0
    assert light == pytest.approx(drives[..., :3] / 255 * scale + plus, abs=1e-6)
    with (tmp_path / "d.csv").open() as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 3 * display.leds
    last = rows[-1]
    assert [int(last[c]) for c in channels.lower()] == drives[-1, -1].tolist()
    assert int(last["time_ns"]) == 3_000_000
    wiring = display.wiring
    assert [int(last[k]) for k in ("line", "led", "column", "row")] == [
        int(a[-1]) for a in (wiring.line, wiring.led, wiring.column, wiring.row)
    ]
    with (tmp_path / "l.csv").open() as file:
        rows = list(csv.DictReader(file))
    assert [float(rows[0][c]) for c in "rgb"] == pytest.approx(light[0, 0], abs=1e-6)


def test_what_cannot_be_exported_is_told_and_leaves_nothing(tmp_path, three):
    with pytest.raises(RecordingError, match=r"\.apng"):
        export(three, tmp_path / "clip.avi")
    empty = replace(three, times_ns=three.times_ns[:0], drives=three.drives[:0])
    with pytest.raises(RecordingError, match="no frame"):
        export(empty, tmp_path / "clip.gif")
    elsewhere = replace(three, file="/nowhere/x.toml", name="nobody")
    with pytest.raises(RecordingError, match="nowhere"):
        export(elsewhere, tmp_path / "clip.gif")
    export(elsewhere, tmp_path / "clip.gif", display=FOYER)
    with pytest.raises(RecordingError, match="wide"):
        export(three, tmp_path / "wide.gif", kind="drives", pixels_wide=36_000)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["clip.gif", "rec"]


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
    half = replace(three, times_ns=three.times_ns[:2], drives=three.drives[:2])
    assert compare(three, half).missing == 1
    assert compare(half, three).missing == -1
    assert not compare(three, half).same
    assert "second recording has 1 frame" in told(three, half, compare(three, half))
    with pytest.raises(RecordingError, match="wiring"):
        compare(three, replace(three, cell=three.cell[::-1]))


def test_record_export_and_compare_from_the_command_line(foreglow):
    for name in ("one", "two"):
        words = ("record", "sign", "--scene", "programme", "--seconds", "2", "-o", name)
        status, out, err = foreglow(*words)
        assert (status, err) == (0, "")
        assert "120 frames" in out  # 60 a second
    assert foreglow("compare", "one", "two") == (0, "120 frames are the same.\n", "")
    status, _, _ = foreglow("export", "one", "clip.gif", "--width", "64")
    assert status == 0
    _, durations = animation("clip.gif")
    assert sum(durations) == pytest.approx(2000, abs=30)
    assert foreglow("export", "one", "still.png", "--at", "1s", "--drives")[0] == 0
    foreglow("record", "sign", "--pattern", "chase", "--seconds", "1", "-o", "three")
    status, out, _ = foreglow("compare", "one", "three")
    assert status == 1
    assert "the second recording has 60 frames fewer" in out
    assert Path("foreglow-out/sign-compare.png").exists()


def test_what_was_lost_is_told_on_standard_error(foreglow):
    foreglow("record", "sign", "--pattern", "corners", "--seconds", "2", "-o", "rec")
    Path("rec/000000.npz").write_bytes(b"")
    index = Path("rec/index.jsonl")
    lines = [json.loads(line) for line in index.read_text().splitlines()]
    lines[-1]["lost"] = 7
    index.write_text("".join(json.dumps(line) + "\n" for line in lines))
    status, _, err = foreglow("export", "rec", "a.csv")
    assert status == 0
    assert "7 frames could not be written" in err
    assert "000000.npz" in err


@pytest.mark.parametrize(
    "words",
    [
        ("record", "sign", "--scene", "clok", "-o", "rec"),
        ("record", "sign", "--seconds", "long", "-o", "rec"),
        ("record", "sign"),
        ("export", "nothing", "clip.gif"),
        ("compare", "nothing", "nothing"),
    ],
)
def test_bad_input_is_a_usage_error_and_leaves_nothing(foreglow, words):
    status, _, err = foreglow(*words)
    assert status == 2
    assert "Traceback" not in err
    assert list(Path().iterdir()) == []
