"""A scene in this process that behaves as if it ran in its own process, in simulated time."""

from __future__ import annotations

import contextlib
import logging

import numpy as np

from emulator.arrays import Picture
from emulator.clock import Clock, SimulatedClock
from emulator.description.display import Display
from emulator.errors import SceneError, SourceError
from emulator.picture.source import close_source
from harness.patterns.sources import PictureAt
from harness.show.scene.player import Player, checked, scene_error
from harness.soak.drawing import Drawing

_log = logging.getLogger("foreglow.show")


class SceneClock(SimulatedClock):
    """The clock of the scene's process, set to the show's time at each request.

    When the scene sleeps or computes, this clock advances; the show's does not.
    """

    def put_at(self, time_ns: int) -> None:
        """Set the clock, also back: the time of a killed scene does not count."""
        self._now_ns = time_ns


class SimulatedPlayer(Player):
    """Computes at once, and answers when the scene's clock says that it is done.

    clock: the show's. scene_clock: the one that the scene's calls of `time` read and advance.
    drawing: measures the pictures, except the first, which includes loading the scene.
    """

    def __init__(
        self,
        source: PictureAt,
        display: Display,
        clock: Clock,
        scene_clock: SceneClock,
        drawing: Drawing,
    ) -> None:
        self._source, self._display = source, display
        self._drawing, self._loaded = drawing, False
        self._clock, self._scene_clock = clock, scene_clock
        self._answer: Picture | SourceError | SceneError | None = None
        self._ready_ns = 0

    def ask(self, time_s: float) -> None:
        """As Player.ask."""
        self._scene_clock.put_at(self._clock.now_ns())
        try:
            with self._drawing.timed() if self._loaded else contextlib.nullcontext():
                picture = self._source(time_s)
            # A copy: the scene may draw the next picture into the same array.
            self._answer = np.array(checked(np.asarray(picture), self._display))
            self._loaded = True
        except Exception as error:
            self._answer = scene_error(error)
        self._ready_ns = self._scene_clock.now_ns()

    def take(self) -> Picture | None:
        """As Player.take."""
        if self._answer is None or self._clock.now_ns() < self._ready_ns:
            return None
        answer, self._answer = self._answer, None
        if isinstance(answer, Exception):
            raise answer
        return answer

    def kill(self) -> None:
        """Send no more requests. In one process the scene can only be closed."""
        with contextlib.suppress(Exception):  # errors of a killed scene do not matter
            close_source(self._source)

    def close(self) -> None:
        """Close the scene; errors from that go to the log of the show."""
        try:
            close_source(self._source)
        except Exception as error:
            _log.warning("the scene raised while it was closed: %s", scene_error(error))
