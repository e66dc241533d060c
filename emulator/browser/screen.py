"""The wall in browsers as a surface: gives frames to the server, takes the viewers' wishes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Light
from emulator.browser.frame import Frame
from emulator.browser.server import Server
from emulator.clock import Clock
from emulator.description.display import Display
from emulator.view.controls import State
from emulator.view.status import Status
from emulator.view.zoom import Zoom


class BrowserScreen:
    """A server for one display. state: what users have set; all viewers share it.

    port, host, token, pixels_wide: as for Server. url: where to look. Raises WindowError.
    """

    def __init__(
        self,
        display: Display,
        state: State,
        _clock: Clock,
        port: int,
        *,
        host: str = "",
        token: str = "",
        pixels_wide: int = 960,
    ) -> None:
        self.state = state
        state.zoom = Zoom.of(display)  # each page zooms by itself
        self._server = Server(display, state, port, host=host, token=token, pixels_wide=pixels_wide)
        self.url = self._server.url
        self._frame: Frame | None = None

    def pump(self) -> None:
        """Take what viewers have asked for into the state."""
        actions = self._server.actions
        while actions:
            asked = actions.popleft()
            if isinstance(asked, int):
                self.state.playing = asked
            else:
                self.state.do(asked)

    def draw(self, drives: NDArray[np.uint8], light: Light, status: Status) -> bool:
        """Show the light (N, 3) and the drives (N, C) of the LEDs; others draw and send them."""
        now_ns = self._server.now_ns()
        self._frame = Frame.of(self._frame, drives, light, status, self.state, now_ns)
        self._server.put(self._frame)
        return True

    def close(self) -> None:
        """End the server; a second call does nothing."""
        self.state.closed = True
        self._server.close()
