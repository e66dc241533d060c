"""The keys of the controls, as pygame numbers them."""

from __future__ import annotations

import pygame

from emulator.view.controls import CONTROLS

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
# pygame numbers a letter's key by its small letter.
ACTION_OF_KEY = {
    _KEYS.get(control.key_name) or ord(control.key_name.lower()): control.action
    for control in CONTROLS
}
