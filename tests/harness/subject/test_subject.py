from __future__ import annotations

import sys

import numpy as np
import pytest

from emulator import MapFileError, SubjectError, load_display
from harness.report.build.mapformats import map_csv
from harness.subject import subject

PICTURE = np.zeros((20, 36, 3), np.uint8)


def called(name: str) -> subject.Subject:
    return subject.function(name, subject.found(name))


@pytest.fixture
def module(tmp_path, monkeypatch):
    """Writes a module of display code and returns how it is named."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "path", list(sys.path))
    names = []

    def write(text: str, name: str = "their_show") -> str:
        (tmp_path / f"{name}.py").write_text(text)
        names.append(name)
        return name

    yield write
    for name in names:
        sys.modules.pop(name, None)


def test_a_function_of_a_module_in_this_folder_is_called(module):
    name = module("def to_wire(picture):\n    return picture.tobytes()[:5]\n")
    assert called(f"{name}:to_wire").to_wire(PICTURE) == bytes(5)


def test_a_method_is_found_by_its_dotted_name(module):
    name = module("class Wall:\n    @staticmethod\n    def send(p):\n        return b'1'\n")
    assert called(f"{name}:Wall.send").to_wire(PICTURE) == b"1"


@pytest.mark.parametrize(
    ("text", "target", "said"),
    [
        ("", "their_show", "write module:function"),
        ("", "their_show.py:to_wire", "write their_show:to_wire"),
        ("", "nowhere:to_wire", "there is no module 'nowhere'"),
        ("def to_wyre(p): ...\n", "their_show:to_wire", "did you mean 'to_wyre'"),
        ("to_wire = 3\n", "their_show:to_wire", "is not a function"),
        ("import notthere\n", "their_show:to_wire", "ModuleNotFoundError while importing"),
        ("def f(:\n", "their_show:f", "SyntaxError while importing"),
        ("raise SystemExit(3)\n", "their_show:f", "SystemExit while importing"),
    ],
)
def test_code_that_cannot_be_had_is_told_in_words(module, text, target, said):
    module(text)
    with pytest.raises(SubjectError) as caught:
        called(target)
    assert said in str(caught.value)
    assert "Fix:" in str(caught.value)


def test_code_that_raises_names_its_own_line(module):
    name = module("def to_wire(p):\n    x = 1\n    return p[99]\n")
    with pytest.raises(SubjectError, match=r"their_show.py, line 3: IndexError while calling"):
        called(f"{name}:to_wire").to_wire(PICTURE)


def test_code_that_ends_the_program_is_told(module):
    name = module("import sys\ndef to_wire(p):\n    sys.exit(0)\n")
    with pytest.raises(SubjectError, match="line 3: SystemExit while calling"):
        called(f"{name}:to_wire").to_wire(PICTURE)


def test_what_code_prints_goes_to_standard_error(module, capsys):
    name = module("def to_wire(p):\n    print('hello')\n    return b''\n")
    called(f"{name}:to_wire").to_wire(PICTURE)
    assert capsys.readouterr() == ("", "hello\n")


def test_an_led_the_map_leaves_out_stays_dark(tmp_path):
    display = load_display("foyer")
    lines = map_csv(display).splitlines()
    (tmp_path / "theirs.csv").write_text("\n".join(lines[:18] + lines[19:]))
    first, _ = subject.map_file(tmp_path / "theirs.csv", display).to_wire(PICTURE + 255)
    assert np.flatnonzero(first.reshape(-1, 3).sum(axis=1) == 0).tolist() == [17]


def test_code_that_returns_nothing_is_told(module):
    name = module("def to_wire(p):\n    pass\n")
    with pytest.raises(SubjectError, match="returned None"):
        called(f"{name}:to_wire").to_wire(PICTURE)


def test_a_map_sends_what_the_wiring_would_when_it_is_the_same(tmp_path):
    display = load_display("foyer")
    (tmp_path / "theirs.csv").write_text(map_csv(display))
    picture = np.random.default_rng(1).integers(0, 256, (20, 36, 3), np.uint8)
    theirs = subject.map_file(tmp_path / "theirs.csv", display).to_wire(picture)
    own = subject.own_code(display).to_wire(picture)
    assert all((a == b).all() for a, b in zip(theirs, own, strict=True))


def test_a_map_with_more_lines_than_the_display_is_refused(tmp_path):
    path = tmp_path / "theirs.csv"
    path.write_text("line,led,column,row\n0,0,0,0\n1,0,1,0\n2,0,2,0\n")
    with pytest.raises(SubjectError, match="lines 0 to 2, but 'foyer' has 2"):
        subject.map_file(path, load_display("foyer"))


def test_a_map_that_lists_an_led_twice_is_bad_input(tmp_path):
    path = tmp_path / "theirs.csv"
    path.write_text("line,led,column,row\n0,0,0,0\n0,0,1,0\n")
    with pytest.raises(MapFileError, match="listed twice"):
        subject.map_file(path, load_display("foyer"))


@pytest.mark.parametrize("name", ["show.py:f", "code/show.py:f", r"C:\code\show.py:f"])
def test_a_file_in_place_of_a_module_is_told(name):
    with pytest.raises(SubjectError, match="is a file, not a module") as caught:
        called(name)
    assert "write show:f, in the folder of show.py" in str(caught.value)
