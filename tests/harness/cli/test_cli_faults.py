"""`foreglow faults`, and --fault of the commands that show a wall."""

from __future__ import annotations

import json
import os
import subprocess
import sys

import numpy as np
import pytest
from PIL import Image

from emulator import load_display, open_output
from emulator.description.faults.kinds import KINDS
from emulator.recording.recording import load_recording

WALL = """\
[grid]
columns = 6
rows = 2

[chip]
part = "WS2812B"

[wiring]
start = "top-left"
"""


@pytest.fixture
def wall(tmp_path):
    (tmp_path / "wall.toml").write_text(WALL)
    (tmp_path / "white.py").write_text(
        "import numpy as np\ndef picture(t, display):\n    return np.ones(display.picture_shape)\n"
    )
    return tmp_path


def test_faults_lists_every_kind(foreglow):
    status, out, err = foreglow("faults")
    assert (status, err) == (0, "")
    words = " ".join(out.split())
    for name, kind in KINDS.items():
        for text in (f"{name} ", kind.looks, kind.alike, kind.measure):
            assert text in words


def test_one_kind_in_detail(foreglow):
    status, out, _ = foreglow("faults", "data-open")
    words = " ".join(out.split())
    assert status == 0
    for text in (KINDS["data-open"].alike, "Measure first", "after", "needed", "0.001 to 3600"):
        assert text in words
    assert "power off" in words


def test_what_belongs_to_a_picture_is_refused_without(foreglow, wall):
    for words in (("--display", "wall.toml"), ("-o", "a.png"), ("--picture", "-o", "a.png")):
        assert foreglow("faults", *words)[0] == 2


def test_what_is_allowed_is_stated_for_every_parameter(foreglow):
    """As the classes have it: a line may be left out, ohms be open."""
    _, out, _ = foreglow("faults", "--json")
    allowed = {
        (k["kind"], p["name"]): p["allowed"] for k in json.loads(out) for p in k["parameters"]
    }
    assert allowed["low-logic", "line"] == "whole number from 0 on"
    assert allowed["power-joint", "ohm"].endswith("or open")
    assert allowed["cover-missing", "column"] == "whole number 0 to below 4096"
    assert all(text.strip() == text and len(text) > 3 for text in allowed.values())


def test_kinds_as_json(foreglow):
    status, out, _ = foreglow("faults", "--json")
    kinds = json.loads(out)
    assert status == 0
    assert [one["kind"] for one in kinds] == list(KINDS)
    [after] = [p for p in kinds[list(KINDS).index("data-open")]["parameters"] if p["needed"]]
    assert (after["name"], after["default"]) == ("after", None)


def test_a_picture_shows_the_wall_as_planned_and_as_built(foreglow, wall):
    status, out, _ = foreglow(
        "faults", "led-dark", "--picture", "--display", "wall.toml", "-o", "dark.png"
    )
    assert status == 0
    assert "dark.png: led-dark led=4" in out
    picture = np.asarray(Image.open(wall / "dark.png")).astype(int)
    assert picture.shape[1] == 1200
    half = picture.shape[1] // 2
    assert abs(picture[:, :half].sum() - picture[:, half:].sum()) > 10_000


@pytest.mark.parametrize(
    "words",
    [
        ("faults", "data-opn"),
        ("render", "wall.toml", "white.py", "--fault", "data-opn"),
        ("record", "wall.toml", "white.py", "-o", "rec", "--fault", "data-open after=12"),
        ("check", "wall.toml", "--fault", "led-dark led=99"),
        ("soak", "wall.toml", "white.py", "--hours", "0.01", "--fault", "led-dark led=99"),
        ("run", "wall.toml", "white.py", "--to", "memory:", "--fault", "led-dark"),
        ("listen", "wall.toml", "--serial", "--to", "memory:", "--fault", "led-dark led=x"),
        ("view", "wall.toml", "white.py", "--fault", "led-dark led=1 led=2"),
    ],
)
def test_a_wrong_fault_is_refused_before_anything_begins(foreglow, wall, words):
    before = sorted(wall.iterdir())
    status, out, err = foreglow(*words)
    assert (status, out) == (2, "")
    assert "Fix:" in err
    assert sorted(wall.iterdir()) == before


def test_record_keeps_what_the_faulty_wall_shows(foreglow, wall):
    words = ("record", "wall.toml", "white.py", "--seconds", "0.2", "-o", "rec")
    assert foreglow(*words, "--fault", "data-open after=3", "--fault", "led-dark led=0")[0] == 0
    recording = load_recording(wall / "rec")
    assert recording.drives[-1][:, 0].tolist() == [0, 255, 255, 255] + [0] * 8
    assert recording.faults == ("data-open after=3", "led-dark led=0")


def test_pictures_of_a_recording_show_faults_of_the_light_too(foreglow, wall):
    words = ("record", "wall.toml", "white.py", "--seconds", "0.1", "-o")
    faults = ("--fault", "front-dirty column=1 row=0 passes=0.2",
              "--fault", "channel-weak led=3 channel=red level=0")  # fmt: skip
    assert foreglow(*words, "plain")[0] == 0
    assert foreglow(*words, "faulty", *faults)[0] == 0
    for name in ("plain", "faulty"):
        done = foreglow("export", name, f"{name}.png", "--at", "0", "--width", "600")
        assert done[0] == 0, done
    one, two = (np.asarray(Image.open(wall / f"{n}.png")).astype(int) for n in ("plain", "faulty"))
    middle = one.shape[0] // 4
    changed = [(np.abs(one - two)[middle, 50 + 100 * n] > 30).tolist() for n in range(6)]
    assert changed == [[False] * 3, [True] * 3, [False] * 3, [True, False, False],
                       [False] * 3, [False] * 3]  # fmt: skip


def test_a_recording_with_faults_that_its_display_lacks_is_refused(foreglow, wall):
    assert foreglow("record", "wall.toml", "white.py", "--seconds", "0.1", "-o", "rec")[0] == 0
    index = wall / "rec" / "index.jsonl"
    head, _, rest = index.read_text().partition("\n")
    for faults, told in ((["led-dark led=99"], "no LED 99"), (3, "list of sentences")):
        index.write_text(json.dumps({**json.loads(head), "faults": faults}) + "\n" + rest)
        status, _, err = foreglow("export", "rec", "a.png", "--at", "0")
        assert status == 2
        assert told in err


def test_check_says_what_the_wall_as_built_does_to_the_picture(foreglow, wall):
    status, out, _ = foreglow(
        "check", "wall.toml", "--only", "map", "--fault", "run-reversed run=1"
    )
    assert status == 1
    assert "row 1" in " ".join(out.split()) or "run" in out


def test_a_display_file_may_be_of_a_wall_as_built(foreglow, wall):
    built = WALL + '[[fault]]\nkind = "led-dark"\nled = 2\n'
    (wall / "built.toml").write_text(built)
    for name in ("wall", "built"):
        assert foreglow("render", f"{name}.toml", "white.py", "-o", f"{name}.png")[0] == 0
    one, two = (np.asarray(Image.open(wall / f"{n}.png")).astype(int) for n in ("wall", "built"))
    wide = one.shape[1] // 6
    assert np.abs(one - two)[: one.shape[0] // 2, 2 * wide : 3 * wide].max() > 50
    assert np.abs(one - two)[:, 4 * wide :].max() < 50


def test_soak_takes_both_kinds_of_faults(foreglow, wall):
    status, out, err = foreglow(
        "soak", "wall.toml", "white.py", "--hours", "0.001", "--json",
        "--fault", "led-dark led=0", "--fault", "none",
    )  # fmt: skip
    assert status == 0
    assert err == "wall is emulated with faults: led-dark led=0\n"
    assert json.loads(out)["outcomes"] == []


@pytest.mark.slow
def test_run_shows_the_faults_on_its_emulated_wall(wall):
    """In a process of its own: a show takes the signals of its process."""
    words = ["run", "wall.toml", "white.py", "--to", "memory:", "--for", "0.3s", "--record", "kept",
             "--fault", "data-open after=3"]  # fmt: skip
    code = "from harness.cli import main; main()"
    path = os.pathsep.join(path or os.getcwd() for path in sys.path)
    done = subprocess.run(
        [sys.executable, "-c", code, *words], cwd=wall, capture_output=True, text=True, timeout=60,
        env={**os.environ, "PYTHONPATH": path}, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "data-open after=3" in done.stderr
    lit = load_recording(wall / "kept").drives[:, :, 0] == 255
    assert lit.any(axis=0).tolist() == [True] * 4 + [False] * 8


def test_listen_shows_what_the_faulty_wall_makes_of_a_capture(foreglow, wall):
    """A capture that foreglow wrote itself: `vcd:` is what another sender puts on the wire."""
    display = load_display(wall / "wall.toml")
    with open_output(f"vcd:{wall / 'sent.vcd'}", display) as out:
        out.send(np.full(display.picture_shape, 255, dtype=np.uint8))
    words = ("listen", "wall.toml", "--capture", "sent.vcd", "--to", "memory:")
    sums = []
    for fault in ((), ("--fault", "data-open after=5")):
        assert foreglow(*words, *fault)[0] == 0
        picture = np.asarray(Image.open(wall / "foreglow-out/wall-listen.png").convert("L"))
        sums.append(int((picture > 200).sum()))
    assert 0.4 * sums[0] < sums[1] < 0.6 * sums[0]
