"""The window of `foreglow view`: plays patterns and scenes on the screen."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from numpy.typing import ArrayLike

from emulator.clock import Clock
from emulator.description.display import Display
from emulator.view.player import Player
from emulator.view.viewing import Viewing
from emulator.window.screen import Screen

_LARGE = 10_000  # LEDs: such a wall is drawn by a second thread, a picture late


class WallWindow(Player[Screen]):
    """A Player on the screen.

    pixels_wide: of the wall. scale: how large everything is drawn; None uses that of the screen.
    All else as for Player. Raises UnknownNameError, and WindowError without a screen.
    """

    def __init__(
        self,
        display: Display,
        sources: Mapping[str, Callable[[float], ArrayLike]],
        playing: str,
        *,
        real_time: bool = True,
        pixels_wide: int = 960,
        clock: Clock | None = None,
        viewing: Viewing | None = None,
        scale: float | None = None,
    ) -> None:
        super().__init__(
            display,
            sources,
            playing,
            lambda display, state, clock: Screen(
                display, state, clock, pixels_wide, scale, late=display.leds >= _LARGE
            ),
            real_time=real_time,
            clock=clock,
            viewing=viewing,
        )
