"""The mouse over the wall: where it is, and whether a pressed button clicks or drags."""

from __future__ import annotations

from typing import ClassVar

import pygame


class Pointer:
    """at: where the pointer is, in pixels of the window; None before it was there."""

    EVENTS: ClassVar = (pygame.MOUSEBUTTONDOWN, pygame.MOUSEMOTION, pygame.MOUSEBUTTONUP)

    def __init__(self) -> None:
        self.at: tuple[int, int] | None = None
        self._pressed: tuple[int, int] | None = None  # where, while the button may still click
        self._dragging = False

    def take(
        self, event: pygame.Event, at: tuple[int, int], least: int, holds: bool
    ) -> tuple[int, int] | None:
        """How far an event drags, in pixels; None if it clicks.

        least: pixels from which a move is a drag. holds: whether there is something to drag; else a
        button clicks as soon as it is pressed.
        """
        before, self.at = self.at, at
        left = event.type != pygame.MOUSEMOTION and event.button == pygame.BUTTON_LEFT
        if event.type == pygame.MOUSEBUTTONDOWN and left:
            if not holds:
                return None
            self._pressed = at
        elif event.type == pygame.MOUSEBUTTONUP and left:
            clicks, self._pressed, self._dragging = self._pressed is not None, None, False
            return None if clicks else (0, 0)
        elif self._pressed is not None:
            moved = at[0] - self._pressed[0], at[1] - self._pressed[1]
            if max(abs(moved[0]), abs(moved[1])) >= least:
                self._pressed, self._dragging = None, True
                return moved
        elif self._dragging and before is not None:
            return at[0] - before[0], at[1] - before[1]
        return 0, 0
