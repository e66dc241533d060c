"""A user's module with the name of a foreglow package: the message names both places."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from emulator import SceneError, SubjectError, load_display
from emulator.picture.scene import SceneFile
from foreglow.names import HOME, OURS, others
from harness.subject.subject import found

THEIRS = "MINE = 1\n"


def python(*words: str, folder: Path, path: str = "") -> subprocess.CompletedProcess[str]:
    """An interpreter in a folder that it looks for modules in, as for a script that lies there."""
    env = {**os.environ, "PYTHONPATH": path}
    return subprocess.run(
        [sys.executable, *words], cwd=folder, env=env, capture_output=True, text=True, timeout=120
    )


@pytest.fixture
def theirs(tmp_path):
    """A folder with `emulator`, `harness` and `scenes` of somebody else's: a file, and packages."""
    (tmp_path / "emulator.py").write_text(THEIRS)
    for name in ("harness", "scenes"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "__init__.py").write_text(THEIRS)
    return tmp_path


@pytest.mark.slow
def test_the_command_works_beside_them(theirs):
    done = python("-m", "foreglow", "map", "sign", folder=theirs)
    assert done.returncode == 0, done.stderr
    assert "LED" in done.stdout
    script = (
        "from foreglow.__main__ import main; import sys; sys.argv[1:] = ['map', 'sign']; main()"
    )
    assert python("-c", script, folder=theirs, path=str(theirs)).stdout == done.stdout


@pytest.mark.parametrize("name", ["emulator", "scenes"])
def test_a_script_beside_one_is_told_both_places(tmp_path, name):
    (tmp_path / f"{name}.py").write_text(THEIRS)
    (tmp_path / "script.py").write_text("import harness\n")
    done = python("script.py", folder=tmp_path)
    assert done.returncode == 1
    assert "ImportError: one hides the other" in done.stderr
    assert str(tmp_path / f"{name}.py") in done.stderr
    assert str(HOME / name) in done.stderr
    assert "Fix: give yours another name" in done.stderr


def test_a_scene_that_means_its_own_is_told_both_places(theirs):
    scene = theirs / "myscene.py"
    scene.write_text("import emulator\nX = emulator.MINE\ndef picture(time_s, display): return X\n")
    with pytest.raises(SceneError) as caught, SceneFile(scene) as source:
        source(0, load_display("sign"))
    assert str(theirs / "emulator") in str(caught.value)
    assert str(HOME / "emulator") in str(caught.value)


def test_a_function_that_means_its_own_is_told_both_places(theirs, monkeypatch):
    monkeypatch.chdir(theirs)
    monkeypatch.setattr(sys, "path", list(sys.path))
    (theirs / "theirs_show.py").write_text("from harness import MINE\n")
    for name in ("theirs_show:to_wire", "harness.nothing:to_wire"):
        with pytest.raises(SubjectError) as caught:
            found(name)
        assert str(theirs / "harness") in str(caught.value)
        assert str(HOME / "harness") in str(caught.value)


@pytest.mark.parametrize(
    "start",
    [
        ["-m", "pytest"],
        pytest.param(["-c", "import sys, pytest; sys.exit(pytest.main())"], marks=pytest.mark.slow),
    ],
)
def test_an_unrelated_project_is_left_alone_by_the_plugin(theirs, start):
    (theirs / "test_theirs.py").write_text(
        "import emulator, harness, scenes\n"
        "def test_theirs(): assert emulator.MINE + harness.MINE + scenes.MINE == 3\n"
        "def test_ours(bench): pass\n"
    )
    words = ["-q", "-p", "no:cacheprovider", "-p", "no:xdist", f"--rootdir={theirs}"]
    told = python("-P", *start, *words, folder=theirs).stdout
    assert "1 passed" in told, told
    assert "1 error" in told
    assert "foreglow's pytest plugin is off: 'emulator' is the name of a foreglow package" in told


@pytest.mark.slow
def test_tests_of_ones_own_harness_are_no_harness(tmp_path):
    inner = tmp_path / "tests" / "harness"
    inner.mkdir(parents=True)
    for folder in (inner, inner.parent):
        (folder / "__init__.py").write_text("")
    (inner / "test_theirs.py").write_text("def test_theirs(bench): bench.settle()\n")
    words = ["-q", "-p", "no:cacheprovider", "-p", "no:xdist", f"--rootdir={tmp_path}"]
    done = python("-m", "pytest", *words, "--foreglow-display=sign", folder=tmp_path)
    assert "1 passed" in done.stdout, done.stdout + done.stderr


@pytest.mark.slow
def test_a_folder_of_scene_files_disturbs_nobody(tmp_path):
    (tmp_path / "scenes").mkdir()
    (tmp_path / "scenes" / "mine.py").write_text(THEIRS)
    (tmp_path / "test_theirs.py").write_text(
        "import harness\ndef test_theirs(bench): bench.settle()\n"
    )
    words = ["-q", "-p", "no:cacheprovider", "-p", "no:xdist", f"--rootdir={tmp_path}"]
    done = python("-m", "pytest", *words, "--foreglow-display=sign", folder=tmp_path)
    assert "1 passed" in done.stdout, done.stdout + done.stderr


def test_a_copy_of_foreglow_is_nobody_elses(theirs):
    assert set(others([theirs])) == set(OURS)
    (theirs / "foreglow").mkdir()
    (theirs / "foreglow" / "names.py").write_text("")
    assert not others([theirs])
    assert not others([HOME])
