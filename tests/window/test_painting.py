"""Painting what differs: boxes dragged over cells, brushes, keys, buttons."""

from __future__ import annotations

import numpy as np
import pygame
import pytest

from emulator import OutputClosedError, SimulatedClock
from emulator.window.painting import Brush, PaintingWindow


@pytest.fixture
def window(dummy_screen, display):
    made = PaintingWindow(display, clock=SimulatedClock(), scale=1.0)
    yield made
    made.close()


def post(kind, **more):
    pygame.event.post(pygame.event.Event(kind, **more))


def drag(window, first, last, button=1):
    """From the middle of one cell (row, column) to that of another."""
    window.draw("", np.zeros((4, 8, 3), np.uint8), None)
    cells = window._cells
    ends = [
        (int(cells.left + (column + 0.5) * cells.width / 8),
         int(cells.top + (row + 0.5) * cells.height / 4))
        for row, column in (first, last)
    ]  # fmt: skip
    post(pygame.MOUSEBUTTONDOWN, pos=ends[0], button=button)
    post(pygame.MOUSEMOTION, pos=ends[1], rel=(1, 1), buttons=(1, 0, 0))
    post(pygame.MOUSEBUTTONUP, pos=ends[1], button=button)


def key(code):
    post(pygame.KEYDOWN, key=code, mod=0, unicode="")


def ask(window, then, shows=None):
    """Ask, with what the person does while the window waits for the first time."""
    coming = [then]
    window._clock.now_ns()
    return window.ask(
        "title", np.full((4, 8, 3), 255, np.uint8), shows,
        lambda: coming.pop()() if coming else None,
    )  # fmt: skip


def test_a_box_is_painted_with_the_brush(window):
    def paints():
        drag(window, (1, 2), (3, 5))
        key(pygame.K_2)
        drag(window, (0, 7), (0, 7))
        drag(window, (2, 3), (2, 3), button=3)  # the right button erases
        key(pygame.K_RETURN)

    assert ask(window, paints) == "done"
    expected = np.zeros((4, 8), int)
    expected[1:4, 2:6] = Brush.DARK
    expected[2, 3] = Brush.NONE
    expected[0, 7] = Brush.WRONG
    assert np.array_equal(window.painted, expected)


def test_buttons_choose_a_brush_and_end(window):
    def clicks():
        window.draw("", np.zeros((4, 8, 3), np.uint8), None)
        for wanted in (Brush.FLICKERS, "unsure"):
            place = next(p for p, what in window._buttons if what == wanted)
            post(pygame.MOUSEBUTTONDOWN, pos=place.center, button=1)

    assert ask(window, clicks) == "unsure"
    assert window.brush == Brush.FLICKERS


def test_each_brush_has_a_mark_of_its_own(window):
    looks = set()
    for brush in Brush:
        window.painted[:] = brush
        window.draw("", np.full((4, 8, 3), 255, np.uint8), None)
        cell = window._cells.width // 8
        at = window._cells.left, window._cells.top, cell, window._cells.height // 4
        looks.add(pygame.image.tobytes(window.surface.subsurface(at), "RGB"))
    assert len(looks) == len(Brush)


def test_the_rehearsed_wall_is_above_and_cannot_be_painted(window):
    shows = np.zeros((4, 8, 3), np.uint8)
    assert ask(window, lambda: key(pygame.K_BACKSPACE), shows) == "undo"
    assert window._cells.top > window.surface.get_height() / 2
    assert window._cell_at((window._cells.left + 1, window._cells.top - 30)) is None


def test_it_draws_again_only_after_an_event(window, monkeypatch):
    drawn, pumped, real = [], [], window.draw
    monkeypatch.setattr(window, "draw", lambda *what: drawn.append(len(pumped)) or real(*what))

    def pump():
        pumped.append(None)
        if len(pumped) == 20:
            key(pygame.K_2)
        if len(pumped) == 40:
            key(pygame.K_RETURN)

    pygame.event.clear()
    white = np.full((4, 8, 3), 255, np.uint8)
    assert window.ask("title", white, None, pump) == "done"
    assert len(pumped) == 40
    assert drawn == [0, 20]


def test_a_closed_window_ends_the_question(window):
    with pytest.raises(OutputClosedError):
        ask(window, lambda: post(pygame.QUIT))
