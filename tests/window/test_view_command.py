"""`foreglow view`: the effect of its arguments on the window."""

from __future__ import annotations

import pytest

from emulator.view.viewing import Viewing
from emulator.window import WallWindow

BROKEN = """
def picture(time_s, display):
    return unheard_of
"""


@pytest.fixture
def windows(dummy_screen, monkeypatch):
    """The windows that were run: three pictures each."""
    made = []
    run = WallWindow.run

    def short(window, frames=None):
        made.append(window)
        run(window, frames=3)

    monkeypatch.setattr(WallWindow, "run", short)
    return made


@pytest.mark.parametrize(
    ("asked", "playing"),
    [((), "scene aurora"), (("clock",), "scene clock"), (("chase",), "pattern chase")],
)
def test_a_scene_or_a_pattern_plays_by_its_name(foreglow, windows, asked, playing):
    status, _, err = foreglow("view", "foyer", *asked, "--simulated", "--width", "240")
    assert (status, err) == (0, "")
    assert windows[0].playing == playing
    assert len(windows[0].bench.frames) == 3


def test_the_view_starts_as_asked_and_else_as_in_the_file(foreglow, windows):
    asked = ("--distance", "2m", "--ambient", "50lx", "--scale", "2", "--width", "160")
    foreglow("view", "foyer", *asked)
    foreglow("view", "foyer", "--width", "160", "--ambient", "0lx")
    foreglow("view", "foyer", "--width", "160")
    # scenes/foyer.toml, [view]: 6 m, 200 lx.
    expected = [Viewing(2.0, 50.0), Viewing(6.0, 0.0), Viewing(6.0, 200.0)]
    assert [window.state.viewing for window in windows] == expected
    assert [window.screen.layout.wall.width for window in windows] == [320, 160, 160]


def test_a_file_of_the_user_plays_and_its_error_does_not_end_the_view(foreglow, windows, tmp_path):
    (tmp_path / "myscene.py").write_text(BROKEN)
    status, _, err = foreglow("view", "foyer", "myscene.py", "--simulated", "--width", "240")
    assert (status, err) == (0, "")
    window = windows[0]
    assert window.playing == "myscene.py"
    assert "scene clock" in window.state.sources
    assert any("unheard_of" in line for line in window._trouble.trace)


def test_a_file_mended_on_disk_shows_its_picture(foreglow, windows, tmp_path, monkeypatch):
    path = tmp_path / "myscene.py"
    path.write_text(BROKEN)
    seen = []
    step = WallWindow.step

    def mend_after_the_first(window):
        step(window)
        seen.append((window._trouble is None, len(window.bench.frames)))
        path.write_text("import numpy as np\n" + BROKEN.replace("unheard_of", FIXED))

    monkeypatch.setattr(WallWindow, "step", mend_after_the_first)
    foreglow("view", "foyer", "myscene.py", "--simulated", "--width", "240")
    assert seen[0] == (False, 0)
    assert seen[-1][0]
    assert windows[0].bench.drives[:, 0].min() == 255


FIXED = "np.full(display.picture_shape, 255, np.uint8)"


def test_an_unknown_name_is_told_with_the_known_ones(foreglow, windows):
    status, _, err = foreglow("view", "foyer", "clok")
    assert status == 2
    assert "did you mean 'clock'" in err
    assert not windows


@pytest.mark.parametrize("words", [("--distance", "0m"), ("--ambient", "bright"), ("--scale", "9")])
def test_impossible_views_are_refused(foreglow, windows, words):
    status, _, _ = foreglow("view", "foyer", *words)
    assert status == 2
    assert not windows


def test_the_window_shows_the_wall_with_its_faults(foreglow, windows, tmp_path):
    (tmp_path / "white.py").write_text(
        "import numpy as np\ndef picture(time_s, display):\n    return " + FIXED
    )
    fault = ("--fault", "data-open line=1 after=9", "--fault", "front-dirty column=0 row=0")
    status, _, err = foreglow("view", "foyer", "white.py", "--simulated", "--width", "360", *fault)
    assert status == 0
    assert "data-open line=1 after=9; front-dirty column=0 row=0" in err
    bench = windows[0].bench
    lit = bench.drives.any(axis=1).tolist()
    assert lit == [True] * (358 + 10) + [False] * 348
    shown = windows[0].screen.layout.wall
    assert shown.width == 360
