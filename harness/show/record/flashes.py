"""Flashes of a running show, by the running judge."""

from __future__ import annotations

import logging

import numpy as np

from emulator.arrays import Bytes
from emulator.clock import SECOND_NS
from emulator.description.display import Display
from harness.flash.judge import Flashing, relative_light
from harness.flash.running import RunningJudge
from harness.flash.words import described

_QUIET_NS = 3600 * SECOND_NS  # after a line in the log, until the next

_log = logging.getLogger("foreglow.show")


class FlashWatch:
    """Judges frames as they come; a still picture costs no time."""

    def __init__(self, display: Display) -> None:
        self._display = display
        self._judge: RunningJudge | None = None
        self._last: Bytes | None = None

    def take(self, time_ns: int, drives: Bytes) -> None:
        """Take a frame (N, C) shown from a time on."""
        if self._judge is None:
            self._judge = RunningJudge(self._display)
        if self._last is None or not np.array_equal(drives, self._last):
            self._judge.take(relative_light(drives, self._display), time_ns)
            self._last = drives.copy()

    @property
    def found(self) -> tuple[Flashing, ...]:
        """The results for general and red flashes so far; empty before any light."""
        judge = self._judge
        kinds = () if judge is None else (judge.general, judge.red)
        return tuple(kind for kind in kinds if kind is not None)

    def forget(self) -> None:
        """Begin again, as if nothing had been shown."""
        self._judge = self._last = None


class FlashLog:
    """Logs that the flashes of a show exceed the thresholds, at most once an hour."""

    def __init__(self, display: Display) -> None:
        self._watch = FlashWatch(display)
        self._quiet_until_ns: int | None = None

    def take(self, time_ns: int, drives: Bytes) -> None:
        """Take a frame (N, C) shown from a time of the show on."""
        if self._quiet_until_ns is not None:
            if time_ns < self._quiet_until_ns:
                return
            self._quiet_until_ns = None
            self._watch.forget()
        self._watch.take(time_ns, drives)
        above = [kind for kind in self._watch.found if not kind.below]
        if above:
            self._quiet_until_ns = time_ns + _QUIET_NS
            _log.warning(
                "the show flashes above the thresholds of WCAG 2.2, SC 2.3.1: %s; `foreglow flash`"
                " judges a scene",
                " and ".join(described(kind) for kind in above),
            )
