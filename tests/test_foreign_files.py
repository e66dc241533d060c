"""foreglow reads only real files of a bounded size, and reports bad ones briefly."""

from __future__ import annotations

import io
import json
import os
import zipfile
from pathlib import Path

import numpy as np
import pytest

from emulator import Bench, DiskRecorder, load_display, load_recording, parse_display
from emulator.description.mapfile import read_claim
from emulator.errors import DisplayFileError, ForeglowError, MapFileError, RecordingError
from emulator.picture.clip import Clip
from emulator.picture.still import Still

HEAD = "[grid]\ncolumns = 30\nrows = 20\n[chip]\npart = 'SK6812'\n"
WALL = HEAD + "[wiring]\n"

pytestmark = pytest.mark.timeout(60)  # a pipe that is read would be waited for


@pytest.fixture(params=["pipe", "device", "folder"])
def no_file(request, tmp_path, monkeypatch):
    """A function that puts something under a name that is not a file."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "wall.toml").write_text(WALL)

    def placed(name):
        if request.param == "pipe":
            os.mkfifo(name)
        elif request.param == "device":
            os.symlink("/dev/zero", name)
        else:
            os.mkdir(name)
        return name

    return placed


# The words of a command that reads a file of that name.
READERS = {
    "display": ("map", "odd.toml"),
    "map": ("check", "wall", "--map", "odd.csv"),
    "capture": ("decode", "odd.vcd", "--chip", "SK6812"),
    "capture in CSV": ("decode", "odd.csv", "--chip", "SK6812"),
    "samples": ("decode", "odd.bin", "--chip", "SK6812", "--rate", "24MHz", "--bit", "0"),
    "capture replayed": ("listen", "wall", "--capture", "odd.vcd", "--to", "memory:"),
    "scene": ("render", "wall", "odd.py", "-o", "x.png"),
    "picture": ("render", "wall", "odd.png", "-o", "x.png"),
    "clip": ("render", "wall", "odd.mp4", "-o", "x.png"),
}


@pytest.mark.parametrize("kind", READERS)
def test_what_is_no_file_is_told_at_once(no_file, foreglow, kind):
    words = READERS[kind]
    no_file(next(word for word in words if word.startswith("odd")))
    status, _, err = foreglow(*words)
    assert status == 2
    assert "odd" in err or "/dev/zero" in err  # the message names a link by its target
    assert not Path("x.png").exists()


def test_a_recording_is_made_of_files(no_file, foreglow):
    os.mkdir("rec")
    no_file("rec/index.jsonl")
    status, _, err = foreglow("export", "rec", "x.png")
    assert status == 2
    assert "index.jsonl" in err


@pytest.mark.parametrize("source", [Still, Clip])
def test_a_source_of_a_file_takes_a_file(no_file, source):
    with pytest.raises(ForeglowError, match="odd"):
        source(no_file("odd.mp4"))(0.0, load_display("wall"))


def test_a_map_key_in_a_display_file_tells_nothing_of_another_file(tmp_path):
    (tmp_path / "secret").write_text("root:$6$salt$hash:19000:0:99999:7:::\nmore:secret\n")
    wall = tmp_path / "wall.toml"
    wall.write_text(WALL + "map = 'secret'\n")
    with pytest.raises(MapFileError) as failed:
        load_display(wall)
    assert "hash" not in str(failed.value)
    assert "19000" not in str(failed.value)


def test_a_heading_that_is_nearly_right_is_quoted(tmp_path):
    path = tmp_path / "map.csv"
    path.write_text("line,led,colum,row\n0,0,0,0\n")
    with pytest.raises(MapFileError, match="did you mean 'column'"):
        read_claim(path, np.zeros((1, 1), bool))


# Cost of bad input. The number of faults grows; the length of the message does not.

BAD = {
    "unknown keys": lambda n: WALL + "".join(f"key{i} = 1\n" for i in range(n)),
    "unknown tables": lambda n: WALL + "".join(f"[t{i}]\na = 1\n" for i in range(n)),
    "runs that overlap": lambda n: (
        HEAD + "[[line]]\n" + "[[line.run]]\nfrom = [0, 0]\nto = [5, 0]\n" * n
    ),
    "lines that overlap": lambda n: HEAD + "[[line]]\n[[line.run]]\nfrom=[0,0]\nto=[0,0]\n" * n,
    "lines without runs": lambda n: HEAD + "[[line]]\n" * n,
    "values of another kind": lambda n: HEAD + "[[line]]\n" + "[[line.run]]\nfrom = 'x'\n" * n,
}


@pytest.mark.parametrize("kind", BAD)
def test_the_first_faults_are_told_and_the_rest_counted(kind):
    many = 300
    with pytest.raises(DisplayFileError) as failed:
        parse_display(BAD[kind](many), Path("wall.toml"))
    assert len(failed.value.problems) == 21
    assert "more faults" in str(failed.value)
    assert len(str(failed.value)) < 8000


@pytest.mark.slow
@pytest.mark.parametrize("kind", BAD)
def test_a_megabyte_of_faults_is_told_in_as_little(kind):
    text = BAD[kind](2000)
    text = BAD[kind](2000 * 1_000_000 // len(text))
    with pytest.raises(DisplayFileError) as failed:
        parse_display(text, Path("wall.toml"))
    assert len(str(failed.value)) < 8000


@pytest.mark.parametrize(
    "text",
    [".".join("a" * 200_000) + " = 1\n", "a = " + "[" * 100_000, "a = '" + "x" * 100_000 + "'\n"],
)
def test_a_very_long_line_is_told(text):
    with pytest.raises(DisplayFileError, match="line 7: a line of more than 20000 characters"):
        parse_display(WALL + text, Path("wall.toml"))


def test_files_beyond_their_bounds_are_told(tmp_path):
    wall, table = tmp_path / "wall.toml", tmp_path / "map.csv"
    wall.write_text(WALL + "# a comment\n" * 100_000)
    with pytest.raises(DisplayFileError, match="larger than 1 MiB"):
        load_display(wall)
    with table.open("wb") as file:
        file.truncate(33 << 20)
    with pytest.raises(MapFileError, match="larger than 32 MiB"):
        read_claim(table, np.zeros((1, 1), bool))


# Chunks of a recording are judged by their headers.


@pytest.fixture
def recording(tmp_path):
    display = load_display("sign")
    bench = Bench(display)
    with DiskRecorder(tmp_path / "rec", display) as recorder:
        bench.recorder = recorder
        bench.send(np.full(display.picture_shape, 200, np.uint8))
    return tmp_path / "rec"


def packed(arrays):
    """A .npz of arrays, or of a header that promises `shape` before so many zero bytes."""
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, (shape, dtype, size) in arrays.items():
            with archive.open(f"{name}.npy", "w", force_zip64=True) as file:
                about = {"descr": np.dtype(dtype).str, "fortran_order": False, "shape": shape}
                np.lib.format.write_array_header_1_0(file, about)
                block = bytes(1 << 20)
                for begin in range(0, size, len(block)):
                    file.write(block[: size - begin])
    return data.getvalue()


@pytest.mark.parametrize(
    ("drives", "said"),
    [
        (((1, 128, 4), "u1", 64 << 20), "packs"),
        (((1_000_000, 128, 4), "u1", 64 << 20), "more than a second does"),
        (((1, 128, 4000), "u1", 1), "drives of shape"),
        (((1, 128, 4), "f8", 128 * 4 * 8), "float64"),
    ],
)
def test_a_chunk_that_unpacks_to_more_than_it_says_is_not_unpacked(recording, drives, said):
    chunk = recording / "000000.npz"
    chunk.write_bytes(packed({"times_ns": ((1,), "i8", 8), "drives": drives}))
    found = load_recording(recording)
    assert len(found) == 0
    assert said in found.problems[0]


@pytest.mark.slow
def test_a_layout_that_unpacks_to_more_than_it_says_is_not_unpacked(recording):
    places = dict.fromkeys(("cell", "line", "led"), ((128,), "i8", 64 << 20))
    (recording / "layout.npz").write_bytes(packed(places))
    with pytest.raises(RecordingError, match="packs"):
        load_recording(recording)


def test_an_index_of_nonsense_lines_is_passed_over(recording):
    index = recording / "index.jsonl"
    index.write_text(index.read_text() + json.dumps([1] * 10) + "\n" + "{" * 1000 + "\n")
    assert len(load_recording(recording)) == 1
