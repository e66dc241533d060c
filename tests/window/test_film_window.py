"""The window for frames of a camera: clicks in pixels of the picture, keys that end."""

from __future__ import annotations

import numpy as np
import pygame
import pytest

from emulator.window.film_window import FilmWindow

PICTURE = np.full((90, 160, 3), 200, np.uint8)


@pytest.fixture
def window(dummy_screen):
    with FilmWindow("test", scale=1.0) as made:
        made.show(PICTURE, ["words"])
        yield made


def post(kind, **more):
    pygame.event.post(pygame.event.Event(kind, **more))


def test_a_click_is_a_pixel_of_the_picture_and_can_be_taken_back(window):
    """The picture is drawn as large as fits above the words: where it is bright."""
    bright = np.argwhere(pygame.surfarray.array3d(window.surface).min(axis=2) == 200)
    first, last = bright.min(axis=0), bright.max(axis=0)
    for at in (first, last):
        post(pygame.MOUSEBUTTONDOWN, button=pygame.BUTTON_LEFT, pos=tuple(map(int, at)))
    window.take()
    assert window.clicks[0] == pytest.approx((-0.5, -0.5), abs=0.5)
    assert window.clicks[1] == pytest.approx((159.5, 89.5), abs=0.5)
    post(pygame.KEYDOWN, key=pygame.K_BACKSPACE)
    window.take()
    assert len(window.clicks) == 1
    assert not window.ended


def test_a_click_beside_the_picture_is_none(window):
    post(
        pygame.MOUSEBUTTONDOWN, button=pygame.BUTTON_LEFT, pos=(2, window.surface.get_height() - 3)
    )
    window.take()
    assert window.clicks == []


@pytest.mark.parametrize("key", [pygame.K_q, pygame.K_ESCAPE])
def test_keys_end(window, key):
    post(pygame.KEYDOWN, key=key)
    window.take()
    assert window.ended


def test_marked_blocks_have_a_line_around_them(window):
    marked = np.zeros((9, 16), bool)
    marked[3:6, 4:12] = True
    plain = pygame.surfarray.array3d(window.surface)
    window.show(PICTURE, ["words"], marked)
    drawn = np.argwhere((pygame.surfarray.array3d(window.surface) != plain).any(axis=2))
    whole = np.argwhere(plain.min(axis=2) == 200)
    corner, size = whole.min(axis=0), np.ptp(whole, axis=0)
    ends = (np.array([drawn.min(axis=0), drawn.max(axis=0)]) - corner) / size
    assert ends == pytest.approx(np.array([[4 / 16, 3 / 9], [12 / 16, 6 / 9]]), abs=0.01)
