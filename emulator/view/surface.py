"""What every window is to the part that plays: it takes the user's wishes and shows a frame."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Light
from emulator.clock import Clock
from emulator.description.display import Display
from emulator.view.controls import State
from emulator.view.status import Status

SCREEN_RATE = 60  # pictures a second, at most
SCREEN_PERIOD_NS = 1_000_000_000 // SCREEN_RATE


class Surface(Protocol):
    """A window on the screen, or one in browsers. It and what plays share only the state."""

    def pump(self) -> None:
        """Take what users have done since the last call into the state."""

    def draw(self, drives: NDArray[np.uint8], light: Light, status: Status) -> bool:
        """Show the light (N, 3) and drives (N, C) of the LEDs; returns whether anything changed."""

    def close(self) -> None:
        """Close it and release what it holds; a second call does nothing."""


S = TypeVar("S", bound=Surface)
Opens = Callable[[Display, State, Clock], S]
