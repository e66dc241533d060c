"""`--foreglow-window`: shows the bench of a test in a window while the test runs."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np
import pytest
from numpy.typing import NDArray

from emulator.bench import Bench, led_light
from emulator.closing import Closing
from emulator.description.display import Display
from emulator.description.load import load_display
from emulator.recorder import Recorder
from emulator.view.controls import State
from emulator.view.status import Status
from emulator.view.surface import SCREEN_PERIOD_NS
from emulator.window.screen import Screen
from harness.simulated.machine_time import OutsideClock

_PIXELS_WIDE = 960
_LONGEST_NS = 1_000_000_000  # a wait between two frames is cut to this: a test may skip an hour
_LAST_NS = 600_000_000  # so that you see what a test shows last
_CLOSED = pytest.StashKey[bool]()  # of the run: its user has closed the window


def check_screen() -> None:
    """Open a window and close it again. Raises WindowError if there is no screen."""
    Screen(load_display("sign"), State(), OutsideClock(), 160).close()


@contextmanager
def watching(bench: Bench, test: pytest.Item) -> Iterator[None]:
    """Show a bench in a window from now on. If you close it, the tests go on without a window."""
    if test.config.stash.get(_CLOSED, False):
        yield
        return
    with _Viewer(bench.display, test.name) as viewer:
        recorder = bench.recorder
        bench.recorder = _ShownRecorder(bench.display, viewer)
        try:
            yield
            bench.settle()  # latches the last frame
            viewer.linger()
        finally:
            test.config.stash[_CLOSED] = viewer.state.closed
            recorder.extend(bench.recorder.times_ns, bench.recorder.drives)
            bench.recorder = recorder


class _Viewer(Closing):
    """A window that shows frames at the times they were latched, whatever clock the test uses.

    While paused, it stops the test; a step lets one frame through. In 'simulated' time it draws as
    many frames as it can.
    """

    def __init__(self, display: Display, title: str) -> None:
        self.state = State(choose_time=True, instruments=False)
        self._display, self._title = display, title
        self._clock = OutsideClock()
        self._screen = Screen(display, self.state, self._clock, _PIXELS_WIDE)
        self._ahead_ns = 0  # our clock less the bench's
        self._next_draw_ns = 0
        self._before_ns = 0
        self._drives = np.zeros((display.leds, len(display.chip.channels)), dtype=np.uint8)
        self._draw(0)

    def show(self, time_ns: int, drives: NDArray[np.uint8]) -> None:
        """Wait until the time of a frame (N, C) that the bench has latched, then show it."""
        state, clock = self.state, self._clock
        self._ahead_ns -= max(time_ns - self._before_ns - _LONGEST_NS, 0)
        self._before_ns = time_ns
        while not state.closed:
            self._screen.pump()
            now_ns = clock.now_ns()
            if state.steps:
                state.steps -= 1
                break
            if not state.paused and (not state.real_time or now_ns >= time_ns + self._ahead_ns):
                break
            clock.wait_until(now_ns + SCREEN_PERIOD_NS // 4)
            self._draw(time_ns)
        self._ahead_ns = max(clock.now_ns() - time_ns, self._ahead_ns)
        self._drives = drives
        if state.paused or not state.real_time or clock.now_ns() >= self._next_draw_ns:
            self._draw(time_ns)
            self._next_draw_ns = clock.now_ns() + SCREEN_PERIOD_NS

    def linger(self) -> None:
        """Keep the last frame on the screen for a moment, or as long as it is paused."""
        ends_ns = self._clock.now_ns() + (_LAST_NS if self.state.real_time else 0)
        while not self.state.closed and (self.state.paused or self._clock.now_ns() < ends_ns):
            self._screen.pump()
            self._draw(self._before_ns)
            self._clock.wait_until(self._clock.now_ns() + SCREEN_PERIOD_NS)

    def close(self) -> None:
        """Close the window."""
        self._screen.close()

    def _draw(self, time_ns: int) -> None:
        if not self.state.closed:
            light = led_light(self._drives, self._display.chip.channels)
            self._screen.draw(self._drives, light, Status(self._title, time_ns))


class _ShownRecorder(Recorder):
    """A Recorder that passes every frame to a viewer."""

    def __init__(self, display: Display, viewer: _Viewer) -> None:
        super().__init__(display.leds, len(display.chip.channels))
        self._viewer = viewer

    def append(self, time_ns: int, drives: NDArray[np.uint8]) -> None:
        """Add one frame (N, C) latched at `time_ns`."""
        super().append(time_ns, drives)
        self._viewer.show(time_ns, drives)

    def extend(self, times_ns: NDArray[np.int64], drives: NDArray[np.uint8]) -> None:
        """Add a stack of frames (T, N, C) latched at `times_ns` (T,)."""
        super().extend(times_ns, drives)
        for time_ns, frame in zip(times_ns.tolist(), drives, strict=True):
            self._viewer.show(time_ns, frame)
