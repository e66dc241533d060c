"""The keys of the controls, as pygame numbers them."""

from __future__ import annotations

import pygame

from emulator.view.controls import CONTROLS, Action

_KEYS = {
    "Space": pygame.K_SPACE,
    "Down": pygame.K_DOWN,
    "Up": pygame.K_UP,
    "Left": pygame.K_LEFT,
    "Right": pygame.K_RIGHT,
    "PgUp": pygame.K_PAGEUP,
    "PgDn": pygame.K_PAGEDOWN,
    "Esc": pygame.K_ESCAPE,
}
# More keys for the same: + is the shifted = on some keyboards, and F1 means help on most desktops.
_ALSO = {
    pygame.K_EQUALS: Action.ZOOM_IN,
    pygame.K_KP_PLUS: Action.ZOOM_IN,
    pygame.K_KP_MINUS: Action.ZOOM_OUT,
    pygame.K_KP0: Action.WHOLE,
    pygame.K_F1: Action.HELP,
}
# With Ctrl they scroll: steps across and down.
SCROLL_OF_KEY = {
    pygame.K_LEFT: (-1, 0),
    pygame.K_RIGHT: (1, 0),
    pygame.K_UP: (0, -1),
    pygame.K_DOWN: (0, 1),
}
# pygame numbers a letter's key by its small letter.
ACTION_OF_KEY = _ALSO | {
    _KEYS.get(control.key_name) or ord(control.key_name.lower()): control.action
    for control in CONTROLS
}
