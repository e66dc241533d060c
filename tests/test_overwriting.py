"""Commands overwrite only what foreglow wrote, and never what they read."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from emulator import Bench, DiskRecorder, load_display
from emulator.errors import WriteError
from emulator.files import MARK, check_target, whole_file, write_whole
from tests.tables import telling

WALL = "[grid]\ncolumns = 4\nrows = 3\n[chip]\npart = 'SK6812'\n[wiring]\n"
MINE = "what I wrote myself\n"

# Each writes 'FILE', whose ending is given, without saying where anything else goes.
WRITERS = {
    "map, table": (".txt", ("map", "wall", "-o", "FILE")),
    "map, JSON": (".json", ("map", "wall", "-o", "FILE")),
    "map, C": (".h", ("map", "wall", "-o", "FILE")),
    "bench pack": (".pdf", ("sheet", "wall", "--no-template", "-o", "FILE")),
    "picture": (".png", ("render", "wall", "rows", "-o", "FILE")),
    "check": (".png", ("check", "wall", "--only", "wire", "--sheet", "FILE")),
    "power": (".png", ("power", "wall", "rows", "--seconds", "1", "--plot", "FILE")),
    "light": (".png", ("light", "wall", "--plot", "FILE")),
    "flash": (".png", ("flash", "wall", "rows", "--seconds", "1", "--plot", "FILE")),
    "export, PNG": (".png", ("export", "rec", "FILE")),
    "export, GIF": (".gif", ("export", "rec", "FILE")),
    "export, APNG": (".apng", ("export", "rec", "FILE")),
    "export, MP4": (".mp4", ("export", "rec", "FILE")),
    "export, arrays": (".npz", ("export", "rec", "FILE")),
    "compare": (".png", ("compare", "rec", "other", "-o", "FILE")),
}
CSV = {
    "map": ("map", "wall", "-o", "FILE"),
    "export": ("export", "rec", "FILE"),
}


@pytest.fixture(scope="module")
def recordings(tmp_path_factory):
    """Two short recordings, `rec` and `other`."""
    folder = tmp_path_factory.mktemp("recordings")
    (folder / "wall.toml").write_text(WALL)
    display = load_display(folder / "wall.toml")
    for name, level in (("rec", 60), ("other", 120)):
        bench = Bench(display)
        with DiskRecorder(folder / name, display) as bench.recorder:
            for _ in range(3):
                bench.send(np.full(display.picture_shape, level, np.uint8))
    return folder


@pytest.fixture
def folder(tmp_path, recordings):
    shutil.copytree(recordings, tmp_path, dirs_exist_ok=True)
    return tmp_path


def run(foreglow, words, file, *more):
    return foreglow(*[file if word == "FILE" else word for word in words], *more)


# Of pictures, charts and exports one each; all go the same way.
FAST = {"map, JSON", "picture", "power", "export, PNG", "export, MP4", "compare"}


@pytest.mark.parametrize("kind", telling(WRITERS, lambda kind: kind in FAST))
def test_a_result_is_overwritten_a_file_of_the_user_only_with_force(folder, foreglow, kind):
    ending, words = WRITERS[kind]
    file = folder / f"result{ending}"
    file.write_text(MINE)
    status, _, err = run(foreglow, words, file.name)
    assert status == 2
    assert "--force" in err
    assert file.read_text() == MINE
    forced, _, err = run(foreglow, words, file.name, "--force")
    assert forced in (0, 1), err
    written = file.read_bytes()
    assert MARK.encode() in written
    file.write_bytes(written + MARK.encode())  # longer, and as foreglow's own
    assert run(foreglow, words, file.name)[0] == forced
    assert len(file.read_bytes()) == len(written)
    assert not [*folder.glob(".*")]


@pytest.mark.parametrize("kind", CSV)
def test_csv_has_no_place_for_a_mark_and_needs_force(folder, foreglow, kind):
    for more, expected in (((), 0), ((), 2), (("--force",), 0)):
        assert run(foreglow, CSV[kind], "result.csv", *more)[0] == expected


@pytest.mark.parametrize(
    "words",
    [
        ("map", "wall", "-o", "wall.toml"),
        ("map", "wall", "--format", "json", "-o", "wall.toml"),
        ("render", "wall", "rows", "-o", "wall.toml"),
        ("power", "wall", "rows", "--seconds", "1", "--plot", "wall.toml"),
        ("power", "wall", "--plan", "4.5", "--write", "wall.toml"),
        ("export", "rec", "wall.toml"),
        ("new", "wall.toml", "--columns", "3", "--rows", "2"),
    ],
)
def test_the_display_file_is_never_overwritten(folder, foreglow, words):
    for more in ((), ("--force",)):
        if words[0] == "new" and more:
            continue
        status, _, err = foreglow(*words, *more)
        assert status == 2, err
        assert (folder / "wall.toml").read_text() == WALL


def test_a_link_to_the_display_file_is_the_display_file(folder, foreglow):
    (folder / "odd.json").symlink_to("wall.toml")
    assert foreglow("map", "wall", "-o", "odd.json", "--force")[0] == 2
    assert (folder / "wall.toml").read_text() == WALL


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("map", "wall", "-o", "wall.xyz"), ".json"),
        (("map", "wall", "--format", "json", "-o", "wall.csv"), ".json"),
        (("sheet", "wall", "-o", "wall.png"), ".pdf"),
        (("render", "wall", "rows", "-o", "wall.jpg"), ".png"),
        (("light", "wall", "--plot", "wall.pdf"), ".svg"),
        (("check", "wall", "--sheet", "sheet.jpg"), ".png"),
    ],
)
def test_the_ending_decides_the_form_or_is_refused(folder, foreglow, words, said):
    status, _, err = foreglow(*words)
    assert status == 2
    assert said in err
    assert not (folder / words[-1]).exists()


def test_the_ending_decides_the_form_of_a_map(folder, foreglow):
    assert foreglow("map", "wall", "-o", "map.json")[0] == 0
    assert (folder / "map.json").read_text().startswith("{")


@pytest.mark.parametrize("kind", ["map, JSON", "picture", "light", "export, PNG", "compare"])
def test_folders_are_not_made_in_silence(folder, foreglow, kind):
    ending, words = WRITERS[kind]
    status, _, err = run(foreglow, words, f"no/such{ending}")
    assert status == 2
    assert "there is no folder no" in err
    assert not (folder / "no").exists()


def test_a_mark_is_found_at_either_end_and_not_in_the_middle(tmp_path):
    path = tmp_path / "file"
    for before, after, ours in ((0, 1 << 20, True), (1 << 20, 0, True), (1 << 20, 1 << 20, False)):
        path.write_bytes(bytes(before) + MARK.encode() + bytes(after))
        if ours:
            check_target(path)
        else:
            with pytest.raises(WriteError, match="left as it is"):
                check_target(path)


KILLED = """
import os, signal
from emulator.files import whole_file
with whole_file("result.txt") as beside:
    beside.write_text("half")
    os.kill(os.getpid(), signal.SIGKILL)
"""


def test_an_empty_file_is_the_users_too(tmp_path):
    (tmp_path / "mine.svg").touch()
    with pytest.raises(WriteError, match="does not say that foreglow wrote it"):
        check_target(tmp_path / "mine.svg")
    check_target(tmp_path / "mine.svg", force=True)


def test_what_a_killed_process_left_is_gone_after_the_next_call(tmp_path):
    root = str(Path(__file__).parent.parent)
    killed = subprocess.run(
        [sys.executable, "-c", KILLED], cwd=tmp_path, env={**os.environ, "PYTHONPATH": root}
    )
    assert killed.returncode != 0
    assert len([*tmp_path.glob(".*")]) == 1
    write_whole(tmp_path / "another.txt", "whole")
    assert [path.name for path in tmp_path.iterdir()] == ["another.txt"]


def test_what_a_living_process_writes_is_left_to_it(tmp_path):
    with whole_file(tmp_path / "one.txt") as beside:
        write_whole(tmp_path / "two.txt", "whole")
        assert beside.exists()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["one.txt", "two.txt"]
