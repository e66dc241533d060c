"""The help, at any size of window."""

from __future__ import annotations

from pathlib import Path

import pygame
import pytest

from emulator import load_display
from emulator.view.controls import CONTROLS, Action, State
from emulator.view.zoom import Zoom
from emulator.window import panels
from emulator.window.layout import Layout
from emulator.window.panels import draw_help
from emulator.window.style import Lettering


class Listening(Lettering):
    """Remembers what it wrote."""

    def __init__(self, scale=1.0):
        super().__init__(scale)
        self.written = []

    def line(self, text, *style):
        self.written.append(text)
        return super().line(text, *style)


@pytest.fixture(autouse=True)
def screen(dummy_screen):
    """Letters take the format of an open window."""
    pygame.display.init()
    window = pygame.Window("letters", (10, 10))
    window.get_surface()
    yield
    window.destroy()


def help_in(size, state, scale=1.0):
    layout, lettering = Layout.fit(load_display("foyer"), size, scale), Listening(scale)
    rect = draw_help(pygame.Surface(size), layout, lettering, state)
    return layout, lettering.written, rect


@pytest.mark.parametrize(
    ("size", "scale"),
    [((520, 341), 1.0), ((400, 600), 1.0), ((1212, 608), 1.0), ((1040, 682), 2.0)],
)
def test_the_help_lists_every_key_in_full_within_the_window(size, scale):
    layout, written, rect = help_in(size, State(("a",), zoom=Zoom(most=9)), scale)
    for control in CONTROLS:
        assert control.key_name in written
        assert control.words in written, "not cut short"
    assert pygame.Rect(0, 0, size[0], layout.strip.top).contains(rect)


def test_even_a_tiny_window_shows_every_key():
    layout, written, rect = help_in((340, 240), State(("a",), zoom=Zoom(most=9)))
    assert {control.key_name for control in CONTROLS} <= set(written)
    assert pygame.Rect(0, 0, 340, layout.strip.top).contains(rect)


def test_the_readme_of_the_window_lists_what_the_help_lists():
    text = Path(panels.__file__).with_name("README.md").read_text()
    rows = [line for line in text.splitlines() if line.startswith("| `")]
    entries = panels.help_entries(State(("a",), zoom=Zoom(most=9)))
    assert rows == [f"| `{key}` | {words} |" for key, words in entries]


def test_what_means_nothing_here_is_not_offered():
    _, written, _ = help_in((1212, 608), State(choose_time=False))
    words = {control.action: control.words for control in CONTROLS}
    assert words[Action.LIST] not in written
    assert words[Action.TIME] not in written
    assert words[Action.NIGHT] in written
