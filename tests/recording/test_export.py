"""Exports, read again by Pillow, numpy and csv; films of them: test_movie.py."""

from __future__ import annotations

import csv
import json
from dataclasses import replace
from pathlib import Path

import av
import numpy as np
import pytest
from PIL import Image

from emulator import load_display, parse_display
from emulator.errors import RecordingError
from emulator.recording.export import FORMATS, export
from emulator.recording.pace import paced
from tests.recording.recorded import FOYER, MILLISECOND, colours, recorded, red_green_blue
from tests.tables import telling


@pytest.fixture
def three(tmp_path):
    return red_green_blue(tmp_path / "rec")


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


def test_one_frame_is_an_animation_too(tmp_path):
    found = recorded(tmp_path / "rec", colours((9, 9, 9)), [50])
    export(found, tmp_path / "one.gif", kind="drives")
    assert len(animation_of_one(tmp_path / "one.gif")) == 1


def animation_of_one(path):
    with Image.open(path) as image:
        return [np.asarray(image.convert("RGB")) for _ in range(image.n_frames)]


def test_rounding_of_durations_does_not_add_up(tmp_path):
    # 30 frames a second: 33.3 ms are 3 or 4 hundredths (GIF89a), 10 s stay 10 s.
    found = recorded(tmp_path, colours(*[(n % 250, 0, 0) for n in range(301)]),
                     np.arange(301) * 1000 / 30)  # fmt: skip
    shown, moments = paced(found, 100, 2)
    assert shown.tolist() == list(range(301))
    assert set(np.diff(moments).tolist()) == {3, 4}
    assert moments[-2] == 1000
    assert moments[-1] == 1003, "the last as long as the others on average"


def test_frames_too_short_for_a_format_are_left_out(tmp_path):
    found = recorded(tmp_path, colours(*[(n, 0, 0) for n in range(101)]), np.arange(101) * 5)
    shown, moments = paced(found, 100, 2)
    assert set(np.diff(moments).tolist()) == {2}
    begins_ms = moments[:-1] * 10
    assert np.abs(begins_ms - found.times_ns[shown] / MILLISECOND).max() <= 5, "half a tick"
    assert paced(found, 1000)[0].tolist() == list(range(101))


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


def test_a_contact_sheet_of_drives_has_their_code_values(tmp_path, three):
    export(three, tmp_path / "sheet.png", kind="drives")
    with Image.open(tmp_path / "sheet.png") as image:
        page = np.asarray(image).astype(int).reshape(-1, 3)
    for colour in ([200, 0, 0], [0, 200, 0], [0, 0, 200]):
        assert (page == colour).all(axis=1).sum() > 10_000


def test_a_span_is_cut_at_its_very_ends(tmp_path, three):
    part = three.between(0.05, 0.35)
    assert part.times_ns.tolist() == [50_000_000, 100_000_000, 300_000_000]
    assert part.end_ns == 350_000_000
    export(three, tmp_path / "part.apng", kind="drives", from_s=0.05, to_s=0.35)
    pictures, durations = animation(tmp_path / "part.apng")
    assert durations == [50, 200, 50]
    assert [picture[5, 5].argmax() for picture in pictures] == [0, 1, 2]
    export(three, tmp_path / "part.npz", kind="drives", from_s=0.1, to_s=0.3)
    with np.load(tmp_path / "part.npz", allow_pickle=False) as arrays:
        assert arrays["times_ns"].tolist() == [100_000_000], "that of 0.3 s begins when it ends"
        assert (arrays["drives"] == three.drives[1:2]).all()
    assert three.between(None, None).times_ns.tolist() == three.times_ns.tolist()
    assert three.between(-5, 99).end_ns == three.end_ns == 450_000_000


@pytest.mark.parametrize(("from_s", "to_s"), [(0.2, 0.1), (0.1, 0.1), (9, None), (None, 0)])
def test_an_empty_span_is_told_and_leaves_nothing(tmp_path, three, from_s, to_s):
    with pytest.raises(RecordingError, match=r"0 s to 0\.45 s, and shows nothing"):
        export(three, tmp_path / "clip.gif", from_s=from_s, to_s=to_s)
    assert not (tmp_path / "clip.gif").exists()


@pytest.mark.slow
@pytest.mark.parametrize("ends", range(1, 60, 7))
def test_drives_are_read_across_chunks_as_if_they_were_one_array(tmp_path, ends):
    drives = np.random.default_rng(1).integers(0, 256, (60, FOYER.leds, 3), np.uint8)
    found = recorded(tmp_path, drives, np.arange(60) * 130)
    for begin in range(0, ends, 3):
        assert (found.stored[begin:ends] == drives[begin:ends]).all()
        assert (found.stored.part(begin, ends)[1:] == drives[begin + 1 : ends]).all()
    assert (found.stored[ends] == drives[ends]).all()
    assert (found.stored[-1] == drives[-1]).all()
    assert len(found.stored[70:80]) == 0
    with pytest.raises(IndexError):
        found.stored[60]
    with pytest.raises(IndexError, match="step"):
        found.stored[::2]


@pytest.mark.parametrize("shorter", [False, True])
def test_a_chunk_that_changes_while_it_is_read_is_told(tmp_path, shorter):
    found = recorded(tmp_path / "rec", colours(*[(n, 0, 0) for n in range(9)]), np.arange(9) * 500)
    last = (tmp_path / "rec" / "000004.npz").read_bytes()  # of one frame, the others have two
    (tmp_path / "rec" / "000002.npz").write_bytes(last if shorter else b"PK")
    assert found.stored[3][0, 0] == 3
    with pytest.raises(RecordingError, match=r"000002\.npz has changed"):
        export(found, tmp_path / "numbers.csv")
    assert [p.name for p in tmp_path.iterdir()] == ["rec"]


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


@pytest.mark.slow
@pytest.mark.parametrize("part", telling(["SK6812-RGBW", "APA102"], lambda part: part == "APA102"))
@pytest.mark.parametrize(
    "size", telling([[1, 1], [300, 1], [1, 300], [5, 4]], lambda size: size != [300, 1])
)
@pytest.mark.parametrize("form", FORMATS)
def test_every_display_is_exported_in_every_format(tmp_path, part, size, form):
    gap = "gaps = [{column = 0, row = 0, columns = 2, rows = 2}]" if size == [5, 4] else ""
    columns, rows = size
    display = parse_display(
        f"[grid]\ncolumns={columns}\nrows={rows}\n{gap}\n[chip]\npart='{part}'\n[wiring]\n",
        tmp_path / "wall.toml",
    )
    drives = np.zeros((3, display.leds, 4), np.uint8)
    drives[1] = (10, 20, 30, 31)
    recording = recorded(tmp_path / "rec", drives, [0, 40, 80], display)
    for kind in ("light", "drives"):
        path = tmp_path / f"{kind}{form.upper()}"  # endings in capitals are the same
        export(recording, path, kind=kind, display=display, pixels_wide=64)
        assert path.stat().st_size > 0


def test_what_cannot_be_exported_is_told_and_leaves_nothing(tmp_path, three):
    with pytest.raises(RecordingError, match=r"\.apng"):
        export(three, tmp_path / "clip.avi")
    empty = replace(three, times_ns=three.times_ns[:0], stored=three.drives[:0])
    with pytest.raises(RecordingError, match="no frame"):
        export(empty, tmp_path / "clip.gif")
    elsewhere = replace(three, file="/nowhere/x.toml", name="nobody")
    with pytest.raises(RecordingError, match="nowhere"):
        export(elsewhere, tmp_path / "clip.gif")
    export(elsewhere, tmp_path / "clip.gif", display=FOYER)
    many = recorded(tmp_path / "many", colours(*[(n, 0, 0) for n in range(20)]), np.arange(20) * 40)
    with pytest.raises(RecordingError, match=r"an \.mp4, .* at most \d+ wide"):
        export(many, tmp_path / "wide.gif", kind="drives", pixels_wide=8192)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["clip.gif", "many", "rec"]


def test_record_export_and_compare_from_the_command_line(foreglow):
    for name in ("one", "two"):
        words = ("record", "sign", "programme", "--seconds", "2", "-o", name)
        status, out, err = foreglow(*words)
        assert (status, err) == (0, "")
        assert "120 frames" in out  # 60 a second
    assert foreglow("compare", "one", "two") == (0, "120 frames are the same.\n", "")
    status, out, _ = foreglow("compare", "one", "two", "--json")
    assert (status, json.loads(out)["same"], json.loads(out)["picture"]) == (0, True, None)
    status, _, _ = foreglow("export", "one", "clip.gif", "--width", "64")
    assert status == 0
    _, durations = animation("clip.gif")
    assert sum(durations) == pytest.approx(2000, abs=30)
    assert foreglow("export", "one", "part.gif", "--from", "500ms", "--until", "1.5s")[0] == 0
    assert sum(animation("part.gif")[1]) == 1000
    words = ("export", "one", "part.mp4", "--from", "500ms", "--until", "1.5s", "--width", "64")
    status, out, err = foreglow(*words)
    assert (status, err) == (0, "")
    with av.open("part.mp4") as film:
        assert film.duration == 1_000_000  # in FFmpeg's microseconds
    assert foreglow("export", "one", "still.png", "--at", "1s", "--drives")[0] == 0
    assert foreglow("export", "one", "sheet.png", "--from", "1s", "--drives")[0] == 0
    assert foreglow("export", "one", "none.gif", "--from", "3s")[0] == 2
    foreglow("record", "sign", "chase", "--seconds", "1", "-o", "three")
    status, out, _ = foreglow("compare", "one", "three")
    assert status == 1
    assert "the second recording has 60 frames fewer" in out
    assert Path("foreglow-out/sign-compare.png").exists()
    status, out, _ = foreglow("compare", "one", "three", "--json", "-o", "here.png")
    data = json.loads(out)
    assert (status, data["same"], data["missing"], data["picture"]) == (1, False, 60, "here.png")
    assert data["first"]["led"] == 0
    assert Path("here.png").exists()


def test_what_was_lost_is_told_on_standard_error(foreglow):
    foreglow("record", "sign", "corners", "--seconds", "2", "-o", "rec")
    Path("rec/000000.npz").write_bytes(b"")
    index = Path("rec/index.jsonl")
    lines = [json.loads(line) for line in index.read_text().splitlines()]
    lines[-1]["lost"] = 7
    index.write_text("".join(json.dumps(line) + "\n" for line in lines))
    status, _, err = foreglow("export", "rec", "a.csv")
    assert status == 0
    assert "7 frames could not be recorded" in err
    assert "000000.npz" in err


@pytest.mark.parametrize(
    "words",
    [
        ("record", "sign", "clok", "-o", "rec"),
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
