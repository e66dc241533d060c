"""Large walls: a thread draws one picture while the next one is calculated."""

from __future__ import annotations

import threading

import numpy as np
import pytest

from emulator.view.controls import Action
from emulator.window import wall_window
from emulator.window.behind import Behind
from tests.window.driving import pixels, press, wall_pixels

WAIT_S = 30  # only a hang takes so long


def test_it_works_at_the_same_time_and_gives_errors_back():
    behind, begun, free = Behind(), threading.Event(), threading.Event()
    assert not behind.wait(), "nothing was begun"
    behind.begin(lambda: (begun.set(), free.wait(WAIT_S)))
    assert begun.wait(WAIT_S)
    free.set()
    assert behind.wait()

    def fails():
        raise ValueError("of the work")

    behind.begin(fails)
    with pytest.raises(ValueError, match="of the work"):
        behind.wait()
    assert not behind.wait()
    behind.begin(lambda: None)
    behind.close()
    behind.close()
    assert not any(thread.name == "foreglow draws" for thread in threading.enumerate())


def test_each_picture_is_that_of_one_thread_one_step_later(make, monkeypatch):
    """With its figures: the strip below tells the time of the picture above it."""
    plain = make("level")
    wanted = []
    for _ in range(9):
        plain.step()
        wanted.append(pixels(plain))
    plain.close()
    monkeypatch.setattr(wall_window, "_LARGE", 0)
    late = make("level")
    late.step()
    for picture in wanted[:-1]:
        late.step()
        assert (pixels(late) == picture).all()


def test_a_wall_that_stands_still_is_shown_at_the_next_step(make, monkeypatch):
    monkeypatch.setattr(wall_window, "_LARGE", 0)
    window = make("red")
    press(window, Action.PAUSE)
    press(window, Action.STEP)
    window.step()
    window.step()
    assert wall_pixels(window)[..., 0].max() > 150
    press(window, Action.ZOOM_IN)
    window.step()
    zoomed = wall_pixels(window)
    assert zoomed[..., 0].max() > 150
    window.step()
    assert (wall_pixels(window) == zoomed).all()
    press(window, Action.NUMBERS)
    window.step()
    assert (np.abs(wall_pixels(window) - zoomed) > 60).any(), "numbers over it"


def test_it_closes_while_a_picture_is_drawn(make, monkeypatch):
    monkeypatch.setattr(wall_window, "_LARGE", 0)
    window = make("level")
    window.step()
    window.close()
    window.close()
    assert not any(thread.name == "foreglow draws" for thread in threading.enumerate())
