"""`foreglow mutate` on small suites: which mistakes they notice is counted by hand."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

import scenes
from tests.tables import telling

EXAMPLE = Path(scenes.__file__).parent / "example"
WALL = """
[grid]
columns = 3
rows = 2
[chip]
part = "WS2812B"
[wiring]
start = "top-left"
along = "rows"
path = "serpentine"
"""
SHOW = """
import numpy as np
MAP = [0, 1, 2, 5, 4, 3]
LIGHT = np.arange(256) / 255
LEVELS = np.round(255 * np.where(LIGHT <= 0.04045, LIGHT / 12.92, ((LIGHT + 0.055) / 1.055) ** 2.4))
def cells():
    return list(MAP)
class Wall:
    @staticmethod
    def to_wire(picture):
        return LEVELS.astype(np.uint8)[picture].reshape(-1, 3)[cells()][:, [1, 0, 2]].tobytes()
to_wire = Wall.to_wire
"""
WHITE = """
import numpy as np
from show import to_wire
def test_white():
    white = np.full((2, 3, 3), 255, np.uint8)
    assert to_wire(white) == b"\\xff" * 18
"""
RUNS = "\nif __name__ == '__main__':\n    {0}()\n"  # a suite without pytest: quicker


@pytest.fixture
def project(tmp_path, monkeypatch):
    """A wall of 3 × 2, its right code, and a test that sends white once."""
    (tmp_path / "wall.toml").write_text(WALL)
    (tmp_path / "pytest.ini").write_text("[pytest]\nforeglow_display = wall.toml\n")
    (tmp_path / "show.py").write_text(SHOW)
    (tmp_path / "test_show.py").write_text(WHITE + RUNS.format("test_white"))
    monkeypatch.delenv("PYTEST_ADDOPTS", raising=False)
    return tmp_path


@pytest.fixture
def mutate(foreglow):
    """Runs the command in the project: (exit status, JSON or None, standard error)."""

    def run(*words: str):
        status, out, problem = foreglow("mutate", *words, "--json")
        return status, json.loads(out) if out else None, problem

    return run


def names(entries):
    return {one["name"] for one in entries}


@pytest.mark.slow
def test_one_white_picture_notices_three_mistakes_in_time(project, mutate):
    """By hand: late and torn show black before it, a trail three quarters; nothing else differs."""
    before = sorted(project.rglob("*"))
    status, told, _ = mutate(
        "python test_show.py", "--call", "show:to_wire", "--only", "timing", "--workers", "2"
    )
    assert (status, told["mistakes"], told["noticed"]) == (1, 6, 3)
    assert names(told["survivors"]) == {"every second", "flicker", "slow"}
    line = 'assert_right(display, show.to_wire, only="timing")'
    assert {one["assertion"] for one in told["survivors"]} == {line}
    assert told["early_lines"] == []
    assert sorted(project.rglob("*")) == before  # nothing is left behind


@pytest.mark.slow
def test_one_white_picture_notices_seven_mistakes_of_colour(project, mutate):
    """By hand: white stays white where channels are exchanged, and through every curve."""
    status, told, _ = mutate("python test_show.py", "--call", "show:to_wire", "--only", "colour")
    noticed = {
        "blue left out",  # 255 255 0
        "half of the levels",  # 127
        "overflow of levels",  # 306 - 256 = 50
        "inverted",  # 0
        "level 255 dark",  # 0
        "4 bits of the level",  # 240
        "video levels sent",  # 235
    }
    assert (status, told["mistakes"], told["noticed"]) == (1, 23, 7)
    assert names(one for one in told["tried"] if one["noticed"]) == noticed


COUNTS = """
import show
def test_every_cell_once():
    assert sorted(show.MAP) == [0, 1, 2, 3, 4, 5]
"""


@pytest.mark.slow
@pytest.mark.parametrize("target", ["show:MAP", "show:cells"])
def test_a_count_of_cells_notices_only_what_loses_one(project, mutate, target):
    """By hand: mirrored, turned, or along another path, the map still has each cell once."""
    name = target.partition(":")[2]
    text = COUNTS.replace("show.MAP", "show.cells()" if name == "cells" else "show.MAP")
    (project / "test_show.py").write_text(text + RUNS.format("test_every_cell_once"))
    status, told, _ = mutate("python test_show.py", "--map", target)
    survived = names(told["survivors"])
    assert status == 1
    assert survived >= {"mirrored", "wrong path", "turned"}
    assert "rows exchanged" in names(told["left_out"])  # two rows: that is upside down
    assert names(one for one in told["tried"] if one["noticed"]) >= {"double LED"}
    assert names(told["left_out"]) >= {"dead LED", "stuck LED"}  # the map has no -1
    call = "()" if name == "cells" else ""
    lines = {f"assert_map(display, show.{name}{call})"}
    assert {one["assertion"] for one in told["survivors"]} == lines


@pytest.mark.slow
def test_with_the_assertions_named_the_tests_notice_all(project, mutate):
    command = ("pytest -q", "--call", "show:to_wire", "--only", "timing", "--workers", "2")
    status, told, _ = mutate(*command)
    assert status == 1
    lines = dict.fromkeys(one["assertion"] for one in told["survivors"])
    text = (
        "import show\nfrom harness.assertions import assert_map, assert_right\n"
        "def test_more(display):\n" + "".join(f"    {line}\n" for line in lines)
    )
    (project / "test_more.py").write_text(text)
    status, told, _ = mutate(*command)
    assert (status, told["survivors"]) == (0, [])
    assert any(one["by"].endswith("test_more") for one in told["tried"])


@pytest.mark.slow
def test_the_example_notices_every_mistake_in_time(tmp_path, mutate):
    shutil.copytree(EXAMPLE, tmp_path, dirs_exist_ok=True)
    status, told, problem = mutate(
        "pytest -q test_barwire.py", "--call", "barwire:to_wire", "--only", "timing",
        "--workers", "2",
    )  # fmt: skip
    assert (status, told and told["survivors"]) == (0, []), problem


UNITTEST = """
import unittest
import numpy as np
import show
class TestWhite(unittest.TestCase):
    def test_white(self):
        white = np.full((2, 3, 3), 255, np.uint8)
        self.assertEqual(show.Wall.to_wire(white), bytes([255] * 18))
"""


@pytest.mark.slow
def test_of_a_class_with_unittest(project, mutate):
    (project / "test_show.py").write_text(UNITTEST)
    status, told, _ = mutate(
        "python -m unittest", "--call", "show:Wall.to_wire", "--only", "timing"
    )
    assert (status, told["noticed"]) == (1, 3)
    assert told["early_lines"] == [1 + SHOW[: SHOW.index("to_wire = Wall")].count("\n")]
    assert "test_white" in {one["by"] for one in told["tried"]}


WAITS = """
import numpy as np, time
from show import to_wire
def test_white():
    while to_wire(np.full((2, 3, 3), 255, np.uint8))[0] != 255:
        time.sleep(0.01)
"""


@pytest.mark.slow
def test_a_run_that_takes_too_long_counts_as_noticed(project, mutate):
    """A test that waits for full green waits for ever where inverted levels make it black."""
    (project / "test_show.py").write_text(WAITS + RUNS.format("test_white"))
    _, told, _ = mutate(
        "python test_show.py", "--call", "show:to_wire", "--only", "colour",
        "--limit", "5s", "--workers", "4",
    )  # fmt: skip
    inverted = next(one for one in told["tried"] if one["name"] == "inverted")
    assert (inverted["too_long"], inverted["noticed"]) == (True, True)
    assert "inverted" not in names(told["survivors"])


BAD = [
    (("python test_show.py",), "give one of --map and --call"),
    (("python test_show.py", "--call", "show.py"), "'show.py' does not name code"),
    (("python test_show.py", "--map", "show:MAP", "--only", "colour"), "a map has no colours"),
    (("python test_show.py", "--call", "show:to_wire", "--only", "x"), "kind of mistake"),
    (("python test_show.py", "--call", "show:fill"), "show has no 'fill'"),
    (("python test_show.py", "--map", "show:LIGHT"), "is not a map"),
    (("python test_show.py", "--call", "shop:to_wire"), "did not import shop"),
    (("python test_show.py", "--call", "show:cells"), "never called it with a picture"),
    (("python nothing.py", "--call", "show:to_wire"), "the tests fail on the code as it is"),
    (("nothing-here -q", "--call", "show:to_wire"), "there is no program 'nothing-here'"),
    (("pytest --foreglow-update", "--call", "show:to_wire"), "would store what wrong code"),
    (("python 'x", "--call", "show:to_wire"), "close the quote"),
]


def quick(case):
    """Without a run of the tests, or with only one that says a lot."""
    (command, *rest), _ = case
    return not rest or "show:fill" in rest or "show.py" in rest or "nothing" in command


@pytest.mark.parametrize(("arguments", "told"), telling(BAD, quick))
def test_bad_input_is_named_with_status_2(project, mutate, arguments, told):
    status, printed, problem = mutate(*arguments)
    plain = " ".join(problem.replace("│", " ").split())
    assert (status, printed) == (2, None)
    assert told in plain


def test_without_a_display_it_asks_for_one(project, mutate):
    (project / "pytest.ini").unlink()
    status, _, problem = mutate("python test_show.py", "--call", "show:to_wire")
    assert status == 2
    assert "no display is named" in " ".join(problem.replace("│", " ").split())
