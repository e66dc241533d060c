"""A show on simulated time: the same loop, guards and tally as `foreglow run`, and a verdict."""

from __future__ import annotations

import contextlib
import logging
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from emulator.bench import Bench
from emulator.clock import SECOND_NS, SimulatedClock
from emulator.description.display import Display
from emulator.errors import ForeglowError, SceneError
from harness.flash.judge import Flashing
from harness.patterns.sources import named_source
from harness.show.loop import Ended, Pace, Show, Slot
from harness.show.names import check_name
from harness.show.record.flashes import FlashWatch
from harness.show.record.tally import Tally
from harness.show.scene.guard import Guard
from harness.show.scene.player import Player
from harness.show.wall import LiveWall
from harness.simulated.machine_time import EVENING, MachineTime
from harness.soak.drawing import Drawing
from harness.soak.injection import Injection, Outcome, Planned
from harness.soak.memory import MemoryWatch
from harness.soak.player import SceneClock, SimulatedPlayer
from harness.soak.rig import Rig, RigOutput

PATIENCE_S = 5.0  # as of `foreglow run`
_MOST_TROUBLES = 64  # warnings kept for the verdict
Curve = tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]


@dataclass(frozen=True)
class Soaked:
    """What a soak has measured. Times in ns or s as named, currents in A, memory in bytes.

    wanted: frames a second that the display file asks for; had: those shown. late: pictures
    that came after their time. drawn: pictures drawn, except the first; slow: those that took more
    CPU time than a period; slowest_s: the most that one took. unsent: frames that did not go out.
    early: frames that came before the reset time of the one before had passed. over_period: frames
    that took longer on the wire than a period. drift_ns: how far the last frame's start was off its
    multiple of the period. over_limit: frames over the display file's limit. lowest_v: V at any
    LED, of one frame a minute, None for less than a minute. curve: seconds, mean and most current;
    bounded. early_bytes, late_bytes: resident memory soon after the start and at the end, 0 for
    less than a minute. dark_ns: from the end of the show until every LED was dark; None if they
    did not go dark. flashes: results for general and red flashes; empty without light. outcomes:
    of the faults. troubles: warnings of the show outside faults, with their second.
    """

    scene: str
    seconds: float
    wanted: float
    had: float
    frames: int
    late: int
    drawn: int
    slow: int
    slowest_s: float
    unsent: int
    early: int
    over_period: int
    drift_ns: int
    restarts: int
    mean_a: float
    most_a: float
    most_at_s: float
    limit_a: float | None
    over_limit: int
    lowest_v: float | None
    curve: Curve
    early_bytes: int
    late_bytes: int
    dark_ns: int | None
    flashes: tuple[Flashing, ...]
    outcomes: tuple[Outcome, ...]
    troubles: tuple[tuple[float, str], ...]


def soak(
    display: Display,
    scene: str,
    seconds: float,
    planned: Sequence[Planned] = (),
    otherwise: str | None = None,
    progress: Callable[[float], None] = lambda hours: None,
    start: float = EVENING,
) -> Soaked:
    """Play a scene for some seconds of simulated time, with faults.

    scene, otherwise: names as for `foreglow run`. During the soak, calls of `time` in this thread
    read the simulated clock. progress: called after every hour. start: the time of day at the
    start, in seconds since the epoch. Raises UnknownNameError and SceneError if a name is not a
    scene.
    """
    clock, scene_clock = SimulatedClock(), SceneClock()
    bench = Bench(display, clock, keep=256)
    for name in filter(None, (scene, otherwise)):
        check_name(name)
    with tempfile.TemporaryDirectory(prefix="foreglow-soak-") as folder:
        rig = Rig(bench, MachineTime(scene_clock, start), scene_clock, Path(folder))
        wall = LiveWall(lambda: RigOutput(rig), clock)
        pace = Pace.of(display, wall.link)
        drawing = Drawing(float(pace.period))
        guards = [_guard(scene, rig, True, drawing)]
        if otherwise is not None:
            guards.append(_guard(otherwise, rig, False, drawing))
        injection = Injection(planned, rig, guards[0], pace)
        watch = _Watch(wall, pace, injection, drawing, progress)
        show = Show(wall, guards[0], guards[1] if guards[1:] else None, clock, pace, watch.take)
        # What the scene prints goes to standard error, as in `foreglow run`.
        with rig.machine_time, _heard(watch.hear), contextlib.redirect_stdout(sys.stderr):
            try:
                ended = show.run(round(seconds * SECOND_NS), lambda: "")
            finally:
                for guard in guards:
                    guard.close()
    return watch.verdict(scene, seconds, guards[0], ended)


def _guard(name: str, rig: Rig, faulty: bool, drawing: Drawing) -> Guard:
    display, clock = rig.bench.display, rig.bench.clock

    def start() -> Player:
        try:
            source = named_source(name, display, reload=False)
        except ForeglowError as error:
            raise SceneError.of(error) from error
        draw = rig.source(source) if faulty else source
        return SimulatedPlayer(draw, display, clock, rig.scene_clock, drawing)

    return Guard(f"the scene {name}", start, clock, round(PATIENCE_S * SECOND_NS))


class _Heard(logging.Handler):
    def __init__(self, hear: Callable[[str], None]) -> None:
        super().__init__(logging.WARNING)
        self._hear = hear

    def emit(self, record: logging.LogRecord) -> None:
        self._hear(record.getMessage())


@contextlib.contextmanager
def _heard(hear: Callable[[str], None]) -> Iterator[None]:
    """The show's warnings go to `hear`, not to the terminal."""
    logger, handler = logging.getLogger("foreglow"), _Heard(hear)
    propagate, logger.propagate = logger.propagate, False
    logger.addHandler(handler)
    try:
        yield
    finally:
        logger.removeHandler(handler)
        logger.propagate = propagate


class _Watch:
    """Everything that watches the slots of a soak."""

    def __init__(
        self,
        wall: LiveWall,
        pace: Pace,
        injection: Injection,
        drawing: Drawing,
        progress: Callable[[float], None],
    ) -> None:
        self._wall, self._pace, self._injection, self._progress = wall, pace, injection, progress
        self._drawing = drawing
        self._tally, self._memory = Tally(wall), MemoryWatch()
        self._flashes = FlashWatch(wall.display)
        self._early = self._over_period = self._drift_ns = 0
        self._lowest_v: float | None = None
        self._begin_ns: int | None = None  # of frame 0
        self._now_s = 0.0
        self._troubles: list[tuple[float, str]] = []

    def hear(self, words: str) -> None:
        """Take a warning of the show. One during a fault belongs to the fault's outcome."""
        if self._injection.hear(words):
            return
        if len(self._troubles) < _MOST_TROUBLES:
            self._troubles.append((self._now_s, words))

    def take(self, slot: Slot) -> None:
        self._now_s = slot.due_ns / SECOND_NS
        self._tally.take(slot)
        if slot.sent is not None:
            self._early += slot.sent.early
            self._over_period += slot.sent.ready_ns - slot.sent.starts_ns > self._pace.period
            if self._begin_ns is None:
                self._begin_ns = slot.due_ns - self._pace.starts_ns(slot.number)
            due_ns = self._begin_ns + self._pace.starts_ns(slot.number)
            self._drift_ns = slot.sent.starts_ns - due_ns
        self._injection.take(slot)
        bench = self._wall.bench
        if slot.sent is not None and bench is not None:
            self._flashes.take(slot.due_ns, bench.drives)
        if self._memory.take(slot.due_ns) and bench is not None:
            volts = float(bench.rail_volts().min())
            self._lowest_v = volts if self._lowest_v is None else min(self._lowest_v, volts)
            if self._memory.looks % 60 == 0:
                self._progress(self._memory.looks / 60)

    def verdict(self, scene: str, seconds: float, guard: Guard, ended: Ended) -> Soaked:
        self._injection.close()
        tally, current = self._tally, self._tally.current
        display = tally.display
        return Soaked(
            scene=scene,
            seconds=seconds,
            wanted=display.controller.frame_rate,
            had=self._pace.frames_per_s,
            frames=tally.frames,
            late=tally.late,
            drawn=self._drawing.drawn,
            slow=self._drawing.slow,
            slowest_s=self._drawing.most_ns / SECOND_NS,
            unsent=tally.unsent + tally.skipped,
            early=self._early,
            over_period=self._over_period,
            drift_ns=self._drift_ns,
            restarts=guard.restarts,
            mean_a=current.mean_a,
            most_a=current.most_a,
            most_at_s=current.most_ns / SECOND_NS,
            limit_a=display.power.limit_a,
            over_limit=current.over,
            lowest_v=self._lowest_v,
            curve=current.curve(),
            early_bytes=self._memory.early,
            late_bytes=self._memory.late,
            dark_ns=None if ended.dark is None else ended.dark.latched_ns - ended.stopped_ns,
            flashes=self._flashes.found,
            outcomes=tuple(self._injection.outcomes),
            troubles=tuple(self._troubles),
        )
