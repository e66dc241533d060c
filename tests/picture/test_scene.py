from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import emulator
from emulator.errors import SceneError
from emulator.picture.scene import SceneFile
from tests.picture.media import wall

DISPLAY = wall(3, 2)
ROOT = Path(emulator.__file__).parent.parent

GREY = """
import numpy as np

def picture(time_s, display):
    return np.full(display.picture_shape, {level})
"""

# Leaves a file behind each time it is loaded.
COUNTED = """
from pathlib import Path
import tempfile
Path(tempfile.mkdtemp(prefix="load-", dir="{folder}"))
"""


@pytest.fixture
def path(tmp_path):
    return tmp_path / "myscene.py"


@pytest.fixture
def scene(path):
    with SceneFile(path) as scene:
        yield scene


def level(scene, time_s=0.0):
    picture = scene(time_s, DISPLAY)
    assert picture.shape == (2, 3, 3)
    return float(picture[0, 0, 0])


def failure(scene, time_s=0.0):
    with pytest.raises(SceneError, match="Fix") as caught:
        scene(time_s, DISPLAY)
    return caught.value


def test_a_function_gets_the_time_and_the_display(path, scene):
    path.write_text(GREY.format(level="time_s / 10"))
    assert [level(scene, t) for t in (0, 2.5, 10)] == [0, 0.25, 1]


def test_a_generator_is_sent_the_later_times(path, scene):
    path.write_text(
        "import numpy as np\n"
        "def picture(time_s, display):\n"
        "    seen = []\n"
        "    while True:\n"
        "        seen.append(time_s)\n"
        "        time_s = yield np.full(display.picture_shape, sum(seen) / 100)\n"
    )
    assert [level(scene, t) for t in (1, 2, 3)] == pytest.approx([0.01, 0.03, 0.06])


def test_a_generator_begins_anew_when_it_ends_raises_or_the_display_is_another(path, scene):
    path.write_text(
        "import numpy as np\n"
        "def picture(time_s, display):\n"
        "    begun = time_s\n"
        "    for _ in range(2):\n"
        "        time_s = yield np.full(display.picture_shape, begun / 10)\n"
        "        if time_s == 7: raise ValueError('seven')\n"
    )
    assert [level(scene, t) for t in (1, 2, 3, 4)] == [0.1, 0.1, 0.3, 0.3]
    assert "seven" in str(failure(scene, 7))
    assert level(scene, 7.5) == 0.75
    scene(8, wall(5, 5))
    assert level(scene, 9) == 0.9


def test_a_generator_without_pictures_is_told(path, scene):
    path.write_text("def picture(time_s, display):\n    return\n    yield\n")
    assert "ended without a picture" in str(failure(scene))


def test_a_source_object_is_played_and_closed(path, scene, tmp_path):
    path.write_text(
        "import numpy as np\n"
        "from pathlib import Path\n"
        "class Mine:\n"
        "    def __call__(self, time_s, display):\n"
        "        return np.full(display.picture_shape, 0.5)\n"
        "    def close(self):\n"
        f"        Path({str(tmp_path)!r}, 'closed').touch()\n"
        "picture = Mine()\n"
    )
    assert level(scene) == 0.5
    path.write_text(GREY.format(level=0.25))
    assert level(scene) == 0.25
    assert (tmp_path / "closed").exists()


def test_a_saved_file_is_loaded_anew_and_the_time_goes_on(path, scene):
    path.write_text(GREY.format(level="0.25 + 0 * time_s"))
    assert level(scene, 100) == 0.25
    # Of the same length and within the same second: neither may hide the change.
    path.write_text(GREY.format(level="0.50 + 0 * time_s"))
    assert level(scene, 101) == 0.5
    path.write_text(GREY.format(level="time_s / 1000"))
    assert level(scene, 102) == 0.102


def test_a_file_that_was_only_touched_is_not_loaded_anew(path, scene, tmp_path):
    path.write_text(COUNTED.format(folder=tmp_path) + GREY.format(level=0.5))
    level(scene)
    os.utime(path, (1, 1))
    level(scene)
    assert len(list(tmp_path.glob("load-*"))) == 1


def test_a_file_that_is_gone_for_a_moment_keeps_the_scene(path, scene):
    path.write_text(GREY.format(level=0.25))
    assert level(scene) == 0.25
    path.rename(path.with_suffix(".bak"))
    assert level(scene) == 0.25
    path.with_suffix(".new").write_text(GREY.format(level=0.75))
    path.with_suffix(".new").rename(path)  # as editors save
    assert level(scene) == 0.75


def test_without_reload_a_scene_stays_as_it_was_loaded(path):
    path.write_text(GREY.format(level=0.25))
    with SceneFile(path, reload=False) as scene:
        assert level(scene) == 0.25
        path.write_text(GREY.format(level=0.75))
        assert level(scene) == 0.25


def test_a_missing_file_is_told_and_taken_when_it_comes(path, scene):
    assert "there is no scene" in str(failure(scene))
    path.write_text(GREY.format(level=0.25))
    assert level(scene) == 0.25


def test_modules_beside_the_scene_are_imported_and_loaded_anew(path, scene, tmp_path, monkeypatch):
    monkeypatch.setattr(sys, "dont_write_bytecode", False)
    (tmp_path / "paint_beside.py").write_text("LEVEL = 0.25\n")
    package = tmp_path / "parts_beside"
    package.mkdir()
    (package / "__init__.py").touch()
    (package / "more.py").write_text("LEVEL = 0.125\n")
    path.write_text(
        "import paint_beside\nfrom parts_beside.more import LEVEL\n"
        + GREY.format(level="paint_beside.LEVEL + LEVEL")
    )
    assert level(scene) == 0.375
    (tmp_path / "paint_beside.py").write_text("LEVEL = 0.50\n")
    assert level(scene) == 0.625
    (package / "more.py").write_text("LEVEL = 0.250\n")
    assert level(scene) == 0.75
    assert str(tmp_path) not in sys.path
    assert not list(tmp_path.rglob("__pycache__"))
    scene.close()
    assert not {"paint_beside", "parts_beside.more"} & set(sys.modules)


def test_our_own_modules_are_never_loaded_anew(path, tmp_path):
    # A scene in the project's own folder has our packages beside it.
    (tmp_path / "emulator").symlink_to(Path(emulator.__file__).parent)
    path.write_text("from emulator.picture.text import Text\npicture = Text('a')\n")
    code = (
        "import sys\n"
        "from emulator.picture.scene import SceneFile\n"
        "from emulator import load_display\n"
        f"scene, sign = SceneFile({str(path)!r}), load_display('sign')\n"
        "scene(0, sign)\n"
        "before = sys.modules['emulator.picture.text']\n"
        "scene.path.write_text(scene.path.read_text() + '#')\n"
        "scene(0, sign)\n"
        "assert before.__file__.startswith(str(scene.path.parent)), before.__file__\n"
        "assert sys.modules['emulator.picture.text'] is before\n"
    )
    environment = {**os.environ, "PYTHONPATH": f"{tmp_path}{os.pathsep}{ROOT}"}
    subprocess.run(
        [sys.executable, "-c", code], check=True, timeout=60, env=environment, cwd=tmp_path
    )


def test_a_module_is_found_as_soon_as_it_is_there(path, scene, tmp_path):
    path.write_text("import paint_beside\n" + GREY.format(level="paint_beside.LEVEL"))
    assert "ModuleNotFoundError" in failure(scene, 0).trace
    # Python remembers what is in a folder by the folder's date, which may not have moved on.
    date = tmp_path.stat()
    (tmp_path / "paint_beside.py").write_text("LEVEL = 1.0\n")
    os.utime(tmp_path, ns=(date.st_atime_ns, date.st_mtime_ns))
    assert level(scene, 1) == 1


def test_a_mended_module_beside_a_scene_brings_it_back(path, scene, tmp_path):
    (tmp_path / "paint_beside.py").write_text("LEVEL = = 1\n")
    path.write_text("import paint_beside\n" + GREY.format(level="paint_beside.LEVEL"))
    error = failure(scene)
    assert "paint_beside.py" in error.trace
    assert "SyntaxError" in error.trace
    (tmp_path / "paint_beside.py").write_text("LEVEL = 1.0\n")
    assert level(scene) == 1


def test_a_syntax_error_shows_its_line_and_the_mended_file_plays(path, scene):
    path.write_text("import numpy\n\ndef picture(time_s, display:\n    return 0\n")
    error = failure(scene)
    assert "SyntaxError" in str(error)
    assert 'myscene.py", line 3' in error.trace
    assert "def picture(time_s, display:" in error.trace
    assert "importlib" not in error.trace
    path.write_text(GREY.format(level=0.25))
    assert level(scene) == 0.25


def test_the_traceback_begins_in_the_users_file(path, scene):
    path.write_text(
        "def deeper(time_s):\n    return 1 / time_s\n\n"
        "def picture(time_s, display):\n    return deeper(time_s)\n"
    )
    error = failure(scene)
    assert "ZeroDivisionError" in str(error)
    lines = error.trace.splitlines()
    assert lines[0] == "Traceback (most recent call last):"
    assert lines[1] == f'  File "{path}", line 5, in picture'
    assert lines[-1].startswith("ZeroDivisionError: ")
    assert "    return 1 / time_s" in lines


def test_a_function_that_raised_is_called_again(path, scene):
    path.write_text(GREY.format(level="1 / (4 * time_s)"))
    failure(scene, 0)
    assert level(scene, 1) == 0.25


def test_a_scene_that_cannot_be_loaded_is_tried_again_after_a_second(path, scene, tmp_path):
    path.write_text(
        COUNTED.format(folder=tmp_path)
        + f"Path({str(tmp_path / 'poster')!r}).read_bytes()\n"
        + GREY.format(level=0.25)
    )
    for time_s in (5, 5.3, 5.9):
        assert "FileNotFoundError" in failure(scene, time_s).trace
    assert len(list(tmp_path.glob("load-*"))) == 1
    (tmp_path / "poster").touch()
    assert level(scene, 6) == 0.25
    assert len(list(tmp_path.glob("load-*"))) == 2


@pytest.mark.parametrize("how", ["raise SystemExit(3)", "import sys; sys.exit()", "1 / 0"])
def test_a_scene_cannot_end_the_program(path, scene, how):
    path.write_text(how)
    assert failure(scene).trace
    path.write_text(f"def picture(time_s, display):\n    {how}\n")
    assert failure(scene).trace


def test_ctrl_c_is_not_a_failure_of_the_scene(path, scene):
    path.write_text("def picture(time_s, display):\n    raise KeyboardInterrupt\n")
    with pytest.raises(KeyboardInterrupt):
        scene(0, DISPLAY)


@pytest.mark.parametrize(
    ("content", "told"),
    [
        ("", "no function 'picture'"),
        ("picture = 3", "no function 'picture'"),
        ("def picture(time_s): pass", "picture(time_s, display)"),
        ("def picture(time_s, display, more): pass", "picture(time_s, display)"),
        ("def picture(time_s, display): pass", "returned no picture"),
        ("import numpy as np\npicture = lambda t, d: np.zeros((3, 2, 3))", "exchanged"),
        ("import numpy as np\npicture = lambda t, d: np.zeros((2, 3))", "colour axis"),
        ("import numpy as np\npicture = lambda t, d: np.full((2, 3, 3), 7.0)", "divide by 255"),
        ("import numpy as np\npicture = lambda t, d: np.zeros((2, 3, 3), int)", "uint8"),
    ],
)
def test_what_is_no_scene_or_no_picture_is_told(path, scene, content, told):
    path.write_text(content)
    assert told in str(failure(scene))


def test_dataclasses_in_a_scene_find_their_module(path, scene):
    path.write_text(
        "from __future__ import annotations\n"
        "from dataclasses import dataclass\nfrom typing import ClassVar\n"
        "@dataclass\nclass Lamp:\n    most: ClassVar[float] = 1.0\n    level: float = 0.5\n"
        + GREY.format(level="Lamp().level")
    )
    assert level(scene) == 0.5


def test_two_scenes_of_one_name_do_not_meet(tmp_path):
    scenes = []
    for number in (1, 2):
        folder = tmp_path / str(number)
        folder.mkdir()
        (folder / "myscene.py").write_text(
            "COUNT = []\n" + GREY.format(level=f"{number} / 4 + 0 * len(COUNT)")
        )
        scenes.append(SceneFile(folder / "myscene.py"))
    assert [level(scene) for scene in scenes] == [0.25, 0.5]
    for scene in scenes:
        scene.close()


def test_pictures_of_code_values_stay_code_values(path, scene):
    path.write_text(
        "import numpy as np\ndef picture(time_s, display):\n"
        "    return np.full(display.picture_shape, 200, dtype=np.uint8)\n"
    )
    picture = scene(0, DISPLAY)
    assert picture.dtype == np.uint8
    assert (picture == 200).all()


@pytest.mark.parametrize(
    ("content", "told"),
    [
        ("x = 1\ndef picture(:", r"cannot be loaded: SyntaxError: invalid syntax \(line 2\)"),
        ("def picture(time_s, display):\n    1 / 0", r"raised: .*zero \(line 2\)"),
        ("\n\nimport mate", r"cannot be loaded: SyntaxError: .* \(mate.py, line 3\)"),
        ("import nowhere_at_all", r"No module named 'nowhere_at_all' \(line 1\)"),
        ("from . import mate", r"relative import with no known parent package \(line 1\)"),
    ],
)
def test_the_line_is_named_also_where_no_traceback_is_shown(path, scene, content, told):
    path.with_name("mate.py").write_text("\n\n(")
    path.write_text(content)
    with pytest.raises(SceneError, match=told):
        scene(0, DISPLAY)


def test_a_name_with_spaces_dots_and_umlauts_is_a_name(tmp_path):
    path = tmp_path / "my scene, no. 2 für abends.py"
    path.write_text(GREY.format(level=0.5))
    with SceneFile(path) as scene:
        assert level(scene) == 0.5
