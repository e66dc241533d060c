"""The show: a frame at every multiple of the period, whatever happens to the scene."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

import numpy as np

from emulator.arrays import Picture
from emulator.clock import SECOND_NS, Clock
from emulator.description.display import Display
from emulator.errors import OutputClosedError
from emulator.ports.link import Link
from emulator.strip import Sent
from harness.show.scene.guard import Guard
from harness.show.wall import LiveWall

HOLD_NS = 10 * SECOND_NS  # enough to restart and load a scene that has hung
_FIRST_NS = 5 * SECOND_NS  # for the first picture, before the show begins without it
_PIECE_NS = SECOND_NS // 50  # of a wait: between looks at signals and the window's events
_LATEST = 4  # a frame may start late by a quarter of its period; later ones are left out

Shown = Literal["scene", "otherwise", "held", "dark"]
SHOWN: tuple[Shown, ...] = ("scene", "otherwise", "held", "dark")


@dataclass(frozen=True, slots=True)
class Slot:
    """What happened at one multiple of the period.

    number: counts up from 0. skipped: how many before this one were left out because the output
    was busy. due_ns: its time on the show's clock. shown: whose picture it was: the scene's, that
    of --otherwise, the last one held, or none. late: the scene's picture was due and had not come.
    sent: None while the output is out.
    """

    number: int
    skipped: int
    due_ns: int
    shown: Shown
    late: bool
    sent: Sent | None


@dataclass(frozen=True)
class Ended:
    """How a show ended: why, in words, and the dark frame, None if the output was out."""

    why: str
    stopped_ns: int
    dark: Sent | None


class Pace:
    """Frames a second as exact time: frame n starts at n periods, rounded down to 1 ns."""

    def __init__(self, frames_per_s: float) -> None:
        self.frames_per_s = frames_per_s
        self.period = Fraction(SECOND_NS) / Fraction(frames_per_s)

    def starts_ns(self, number: int) -> int:
        """When a frame starts, from the first one's start on."""
        return number * self.period.numerator // self.period.denominator

    def soonest(self, now_ns: int) -> int:
        """The first frame that starts after `now_ns`, or less than a quarter period before it."""
        over, under = self.period.numerator, self.period.denominator
        return -((over - _LATEST * now_ns * under) // (_LATEST * over))

    @classmethod
    def of(cls, display: Display, link: Link) -> Pace:
        """The frame rate of the display file, or the most that the link carries, to a tenth."""
        wanted, most = display.controller.frame_rate, link.frames_per_s
        if wanted <= most:
            return cls(wanted)
        return cls(math.floor(most * 10) / 10 or most)


class Show:
    """A scene on a wall, at a steady pace. It asks for the picture of a frame one frame ahead.

    A picture that comes too late is shown with the next frame; until then the last one is held.
    While the scene is out, the wall shows `otherwise`; without it, the last picture for ten
    seconds, then nothing. A frame goes out every period in any case.

    watch: gets every Slot after it has been sent.
    """

    def __init__(
        self,
        wall: LiveWall,
        scene: Guard,
        otherwise: Guard | None,
        clock: Clock,
        pace: Pace,
        watch: Callable[[Slot], None],
    ) -> None:
        self._wall, self._scene, self._otherwise = wall, scene, otherwise
        self._clock, self._pace, self._watch = clock, pace, watch
        self._dark: Picture = np.zeros(wall.display.picture_shape, dtype=np.uint8)
        self._last = self._dark
        self._last_ns = clock.now_ns()
        self._early: Picture | None = None  # the first, which may come before its time

    def run(self, lasts_ns: int | None, stopping: Callable[[], str]) -> Ended:
        """Show until the time is over, or `stopping` returns a reason. Then the wall is dark.

        Raises what LiveWall.send raises, with the wall dark. A closed window only ends the show.
        """
        dark: Sent | None = None
        try:
            why = self._run(lasts_ns, stopping)
        except OutputClosedError:
            why = "the window has been closed"
        finally:
            stopped_ns = self._clock.now_ns()
            dark = self._wall.darken()
        return Ended(why, stopped_ns, dark)

    def _run(self, lasts_ns: int | None, stopping: Callable[[], str]) -> str:
        begin_ns = self._first_picture(stopping)
        number, before = 0, -1
        while not stopping():
            due_ns = begin_ns + self._pace.starts_ns(number)
            over = lasts_ns is not None and due_ns >= begin_ns + lasts_ns
            if over:
                due_ns = begin_ns + (lasts_ns or 0)
            if self._wait_until(due_ns, stopping):
                break
            if over:
                return "its time is over"
            shown, late = self._choose(due_ns)
            self._ask((self._pace.starts_ns(number + 1)) / SECOND_NS)
            sent = self._wall.send(self._last)
            self._watch(Slot(number, number - before - 1, due_ns, shown, late, sent))
            before = number
            number = max(number + 1, self._pace.soonest(self._clock.now_ns() - begin_ns))
        return stopping()

    def _first_picture(self, stopping: Callable[[], str]) -> int:
        """Ask for the picture of time 0, wait for it, and return when the show begins."""
        until_ns = self._clock.now_ns() + _FIRST_NS
        self._ask(0.0)
        while not (stopping() or self._scene.out):
            self._early = self._scene.take()
            now_ns = self._clock.now_ns()
            if self._early is not None or now_ns >= until_ns:
                break
            self._wait_until(min(now_ns + _PIECE_NS, until_ns), stopping)
        return self._clock.now_ns()

    def _choose(self, now_ns: int) -> tuple[Shown, bool]:
        """Choose the picture to show now as `_last`: whose it is, and if the scene's is late."""
        picture, self._early = self._early, None
        picture = self._scene.take() if picture is None else picture
        other = None if self._otherwise is None else self._otherwise.take()
        shown: Shown = "scene"
        if picture is None and self._scene.out:
            picture, shown = other, "otherwise"
        if picture is not None:
            self._last, self._last_ns = picture, now_ns
        elif self._last is not self._dark and now_ns - self._last_ns < HOLD_NS:
            shown = "held"
        else:
            self._last, shown = self._dark, "dark"
        return shown, shown in ("held", "dark") and self._scene.late

    def _ask(self, time_s: float) -> None:
        self._scene.ask(time_s)
        if self._otherwise is not None and self._scene.out:
            self._otherwise.ask(time_s)

    def _wait_until(self, time_ns: int, stopping: Callable[[], str]) -> str:
        """Wait, and watch signals and the window. Returns the reason to stop, or ''."""
        while (now_ns := self._clock.now_ns()) < time_ns and not stopping():
            self._clock.wait_until(min(time_ns, now_ns + _PIECE_NS))
            self._wall.pump()
        return stopping()
