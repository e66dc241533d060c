"""Drives the keys and the mouse of a window, and reads its pixels."""

from __future__ import annotations

import numpy as np
import pygame

from emulator.window.keys import ACTION_OF_KEY

KEY_OF = {action: key for key, action in ACTION_OF_KEY.items()}


def press(window, *actions):
    for action in actions:
        pygame.event.post(pygame.event.Event(pygame.KEYDOWN, key=KEY_OF[action]))
    window.step()


def click(window, at):
    pygame.event.post(pygame.event.Event(pygame.MOUSEBUTTONDOWN, pos=at, button=1))
    window.step()


def pixels(window):
    """(height, width, 3) of the whole window."""
    return pygame.surfarray.array3d(window.screen.surface).swapaxes(0, 1).astype(int)


def wall_pixels(window):
    wall = window.screen.layout.wall
    return pixels(window)[wall.top : wall.bottom, wall.left : wall.right]


def at_cell(window, column, row):
    x, y = window.screen.layout.cell(column, row).center
    return tuple(pixels(window)[y, x])


def near(colour, other, tolerance=3):
    return bool((np.abs(np.subtract(colour, other)) <= tolerance).all())


def strip_clickable(window, action):
    return next(p for p, a in window.screen._strip_places if a is action).center
