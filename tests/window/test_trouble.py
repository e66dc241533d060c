"""A source that raises: its traceback covers the last picture until it returns a new one."""

from __future__ import annotations

import numpy as np
import pygame
import pytest

from emulator.errors import SceneError, SourceError
from emulator.view.colours import ACCENT, PANEL
from emulator.view.trouble import trouble_of
from emulator.window.style import SMALL, Lettering
from emulator.window.trouble import wrapped

FRAME_NS = 40_000_000


class Scene:
    """A user's scene that breaks and is fixed again."""

    def __init__(self, display):
        self.display, self.error = display, None
        self.times_s = []

    def __call__(self, time_s):
        self.times_s.append(time_s)
        if self.error is not None:
            raise self.error()
        picture = np.zeros(self.display.picture_shape, np.float32)
        picture[..., 1] = 1
        return picture


@pytest.fixture
def scene(display):
    return Scene(display)


@pytest.fixture
def window(make, scene):
    window = make("dark", pixels_wide=480)
    window._sources["dark"] = scene
    return window


def pixels(window):
    return pygame.surfarray.array3d(window.screen.surface).swapaxes(0, 1).astype(int)


def on_panel(window):
    return int((pixels(window) == PANEL).all(axis=2).sum())


@pytest.mark.parametrize(
    "error",
    [
        lambda: ZeroDivisionError("in the scene"),
        lambda: SceneError(
            "myscene.py raised NameError", trace="Traceback …\n  File myscene.py, line 3"
        ),
        lambda: SourceError("the camera is gone\n  Fix: plug it in."),
        StopIteration,
    ],
    ids=("bug", "scene", "source", "end of a generator"),
)
def test_the_window_stays_the_clock_goes_on_and_a_mended_scene_comes_back(window, scene, error):
    window.step()
    window.step()
    before, frames = pixels(window), len(window.bench.frames)
    scene.error = error
    for _ in range(5):
        window.step()
    assert not window.state.closed
    assert len(window.bench.frames) == frames, "the last picture stays on the LEDs"
    assert np.diff(scene.times_s).tolist() == pytest.approx([FRAME_NS / 1e9] * 6)
    assert on_panel(window) > 5000
    wall = window.screen.layout.wall
    corner = pixels(window)[wall.top + 8, wall.left + 8]
    assert (corner == before[wall.top + 8, wall.left + 8]).all(), "over the last picture"
    assert (pixels(window) == ACCENT).all(axis=2).sum() > 30, "what was raised"

    scene.error = None
    window.step()
    assert on_panel(window) == 0
    assert len(window.bench.frames) == frames + 1
    assert scene.times_s[-1] == pytest.approx(7 * FRAME_NS / 1e9)


def test_in_real_time_a_broken_scene_is_asked_at_the_display_s_rate(make, scene):
    window = make("dark", real_time=True)
    window._sources["dark"] = scene
    scene.error = lambda: ValueError("no")
    for ms in range(0, 1000, 10):
        window._clock.wait_until(ms * 1_000_000)
        window.step()
    assert len(scene.times_s) == 25
    assert window._shown_ns == 990_000_000


def test_a_picture_of_the_wrong_shape_is_told_as_well(window):
    window._sources["dark"] = lambda time_s: np.zeros((2, 2, 3), np.uint8)
    window.step()
    assert "(4, 8, 3)" in window._trouble.summary
    assert on_panel(window) > 5000


def test_another_source_takes_the_trouble_away(window, scene):
    scene.error = lambda: ValueError("no")
    window.step()
    window.state.playing = 1
    window.step()
    assert on_panel(window) == 0


def test_help_opens_above_the_trouble(window, scene):
    scene.error = lambda: ValueError("no")
    window.step()
    trouble = window.screen._panel
    window.state.help = True
    window.step()
    assert window.screen._panel != trouble


def raised(error):
    try:
        raise error
    except Exception as caught:
        return caught


def test_the_traceback_starts_at_the_scene_and_has_no_marks():
    def scene():
        return 1 / 0

    try:
        scene()
    except ZeroDivisionError as error:
        trouble = trouble_of(error)
    assert trouble.summary == "ZeroDivisionError: division by zero"
    assert [line.split(", in ")[-1] for line in trouble.trace if "File" in line] == ["scene"]
    assert any("return 1 / 0" in line for line in trouble.trace)
    assert not any("^^" in line for line in trouble.trace)


def test_a_scene_error_s_own_trace_is_shown():
    error = SceneError(
        "myscene.py raised", trace="Traceback\n  File myscene.py, line 3\n    ~~^~~\nX"
    )
    trouble = trouble_of(raised(error))
    assert trouble.summary == "myscene.py raised"
    assert trouble.trace == ("Traceback", "  File myscene.py, line 3", "X")


def test_our_own_errors_speak_for_themselves():
    assert trouble_of(raised(SourceError("gone\n  Fix: x"))).trace == ()


@pytest.mark.parametrize(
    "text",
    [
        "short",
        "    File somewhere, line 12, in a function with a rather long name and then some",
        "no_spaces_at_all_" * 12,
        "        " + "x" * 90 + " y",
    ],
)
@pytest.mark.parametrize("wide", [120, 300])
def test_long_lines_are_broken_to_the_width_and_nothing_is_lost(text, wide):
    lettering = Lettering()
    lines = wrapped(text, wide, SMALL, lettering)
    assert max(lettering.wide(line, SMALL) for line in lines) <= wide
    assert "".join("".join(lines).split()) == "".join(text.split())


def test_where_not_even_the_indent_fits_wrapping_ends():
    assert wrapped(" " * 60 + "abc def", 20, SMALL, Lettering())


def test_an_error_that_cannot_even_be_put_in_words_is_shown(window, scene):
    class Mute(Exception):
        def __str__(self):
            raise RuntimeError

    for error in (Mute, lambda: OSError("half of a character: \udcff")):
        scene.error = error
        window.step()
        assert on_panel(window) > 5000
