"""Canvas: all steps in a row, and what it remembers between frames."""

from __future__ import annotations

import numpy as np
import pytest

from emulator import PictureError, canvas, parse_display
from emulator.canvas import Canvas
from tests.canvas.walls import wall

FRAME_NS = 33_333_333


def sent(display, pictures):
    """Drives (T, N, 3) that a Canvas sends, read back from the wire of a GRB chip."""
    through = Canvas(display)
    frames = [through.wire(p, n * FRAME_NS)[0].reshape(-1, 3) for n, p in enumerate(pictures)]
    return np.stack(frames)[..., [1, 0, 2]]


def test_frames_are_counted_so_that_a_still_picture_is_dithered_in_time():
    display = wall("dither = true", size=(4, 4))
    drives = sent(display, [np.full((4, 4, 3), 10.3 / 255)] * 32)
    assert np.abs(drives[:16].mean(axis=0) - 10.3).max() <= 1 / 32 + 1e-6
    assert (drives[16:] == drives[:16]).all()
    assert set(np.unique(drives)) == {10, 11}


def test_the_limit_comes_last_so_no_dithered_frame_exceeds_it():
    display = wall("dither = true\nwhite = [1, 0.9, 0.8]", size=(8, 4))
    asked = canvas.current_a(canvas.to_drives(np.ones((4, 8, 3)), display), display.chip)
    limit_a = 0.6 * float(asked)
    power = display.power.model_copy(update={"limit_a": limit_a})
    limited = type(display)(**{**vars(display), "power": power})
    for value in (255, 200, 190):
        drives = sent(limited, [np.full((4, 8, 3), value, np.uint8)] * 16)
        assert (canvas.current_a(drives, display.chip) <= limit_a).all()


def test_two_canvases_do_not_share_their_count():
    display = wall("dither = true")
    picture = np.full((2, 2, 3), 0.5 / 255)
    first, second = Canvas(display), Canvas(display)
    first.wire(picture, 0)
    assert (first.wire(picture, 1)[0] != second.wire(picture, 0)[0]).all()


def test_a_stack_is_refused_with_what_to_do():
    with pytest.raises(PictureError, match="one picture, not a stack\n  Fix: loop"):
        Canvas(wall()).wire(np.zeros((3, 2, 2, 3)), 0)


def test_a_display_without_the_section_sends_what_one_with_its_defaults_sends():
    text = "[grid]\ncolumns=16\nrows=16\n[chip]\npart='WS2812B'\n[wiring]\n"
    plain = parse_display(text, wall().path)
    told = wall('curve = "sRGB"\nwhite = [1, 1, 1]\nbrightness = 1\ndither = false', size=(16, 16))
    values = np.arange(256, dtype=np.uint8).reshape(16, 16, 1).repeat(3, axis=2)
    assert plain.canvas == told.canvas
    assert (sent(plain, [values]) == sent(told, [values])).all()
