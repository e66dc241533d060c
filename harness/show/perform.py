"""The show of `foreglow run`: outputs, scene, signals and log together."""

from __future__ import annotations

import logging
from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

from emulator.clock import SECOND_NS, RealClock
from emulator.description.display import Display
from emulator.errors import ForeglowError
from emulator.ports.opening import company, judge_doubles, open_output
from emulator.stopping import Stopping
from harness.show.log import told
from harness.show.loop import Ended, Pace, Show, Shown, Slot
from harness.show.names import check_name
from harness.show.record.aside import Aside
from harness.show.record.flashes import FlashLog
from harness.show.record.kept import Kept
from harness.show.record.tally import Tally
from harness.show.scene.guard import Guard
from harness.show.scene.process import ProcessPlayer
from harness.show.scene.said import Said
from harness.show.service.notify import Notify
from harness.show.wall import LiveWall

HOUR_NS = 3600 * SECOND_NS


@dataclass(frozen=True)
class Bill:
    """What to show, and where. display_name and the scenes are as on the command line.

    to: addresses of outputs, the wall first. otherwise: shown while the scene is out. lasts_s: in
    s, or None until it is ended. patience_s: how long a scene may take to answer. log: a file for
    the log. memory: bytes that a scene may take. record: a folder for a recording of the show.
    speed: how much of the scene's time passes in a second.
    """

    display_name: str
    scene: str
    to: Sequence[str]
    otherwise: str | None = None
    lasts_s: float | None = None
    patience_s: float = 5.0
    log: Path | None = None
    memory: int | None = None
    record: Path | None = None
    speed: float = 1.0


def perform(bill: Bill, display: Display) -> bool:
    """Play the show until its time is over or a signal ends it; then the wall is dark.

    Returns False if something else ended it. Raises ForeglowError if it cannot begin.
    """
    for name in (bill.scene, bill.otherwise):
        if name is not None:
            check_name(name)
    judge_doubles(bill.to)
    clock = RealClock()
    with Stopping() as stopping, told(bill.log) as log, Notify() as notify, ExitStack() as stack:
        wall = stack.enter_context(
            LiveWall(
                lambda: open_output(bill.to[0], display),
                clock,
                bill.scene,
                company(bill.to[1:], display, clock),
            )
        )
        guards = [
            stack.enter_context(_guard(name, bill, display, clock))
            for name in (bill.scene, bill.otherwise)
            if name is not None
        ]
        tally, pace = Tally(wall), Pace.of(display, wall.link)
        hours = _Hours(tally, log)
        kept = None if bill.record is None else stack.enter_context(Kept(bill.record, display))
        asides = [Aside(one.take) for one in (FlashLog(display), kept) if one is not None]
        watched = _Watched(wall, [stack.enter_context(one) for one in asides])

        def watch(slot: Slot) -> None:
            tally.take(slot)
            hours.take(slot)
            watched.take(slot)
            wall.playing = on_now(bill, slot.shown, guards[0].out)

        def stopped() -> str:  # called often, also while a scene takes long to load
            notify.alive(clock.now_ns())
            return stopping()

        where = " and ".join(bill.to)
        log.info("%s on %s, to %s, %g frames/s", bill.scene, display.name, where, pace.frames_per_s)
        shortfall = wall.link.shortfall(display.controller.frame_rate)
        if shortfall is not None:
            log.warning("%s", shortfall)
        lasts_ns = None if bill.lasts_s is None else round(bill.lasts_s * SECOND_NS)
        show = Show(wall, guards[0], guards[1] if guards[1:] else None, clock, pace, watch)
        failed = False
        notify.ready(f"{bill.scene} on {display.name}")
        try:
            ended = show.run(lasts_ns, stopped)
            notify.stopping()
            watched.end(ended)
            log.info("ended: %s; %s", ended.why, _darkness(wall))
        except ForeglowError as error:
            what = f"{type(error).__name__}: {error}"
            log.error("ended by an error; %s: %s", _darkness(wall), what)
            failed = True
        try:
            wall.close()
        except ForeglowError as error:
            log.error("the output cannot be closed: %s: %s", type(error).__name__, error)
            failed = True
        for one in asides:
            one.close()
        log.info("%s, %s", tally.line(), _troubles(guards, wall))
        if kept is not None:
            kept.close()
            behind = f", {asides[-1].left_out} came too fast" if asides[-1].left_out else ""
            log.info("%s%s", kept.line(), behind)
        if asides[0].left_out:
            log.info("%d frames were not judged for flashes: too slow", asides[0].left_out)
    return not failed


def on_now(bill: Bill, shown: Shown, out: bool) -> str:
    """What the window names: the scene, or what the wall shows while the scene is out."""
    if not out:
        return bill.scene
    instead = {"otherwise": bill.otherwise, "dark": "nothing"}.get(shown, "the last picture")
    return f"{instead}: {bill.scene} is out"


def _guard(name: str, bill: Bill, display: Display, clock: RealClock) -> Guard:
    said = Said(name, clock)
    return Guard(
        f"the scene {name}",
        lambda: ProcessPlayer(bill.display_name, name, display, said, bill.memory, bill.speed),
        clock,
        round(bill.patience_s * SECOND_NS),
    )


def _darkness(wall: LiveWall) -> str:
    told = "its output is out: the wall may be lit" if wall.may_be_lit else "the wall is dark"
    return "; ".join([told, *(f"{name} is out and may be lit" for name in wall.lit_company)])


def _troubles(guards: Sequence[Guard], wall: LiveWall) -> str:
    restarts = sum(guard.restarts for guard in guards)
    without_s = guards[0].out_ns / SECOND_NS
    return (
        f"{without_s:.1f} s without the scene, restarts of scenes: {restarts},"
        f" outages of outputs: {wall.outages}"
    )


class _Watched:
    """Passes on what the wall shows, with the time since the show began."""

    def __init__(self, wall: LiveWall, asides: Sequence[Aside]) -> None:
        self._wall, self._asides = wall, asides
        self._begin_ns: int | None = None

    def take(self, slot: Slot) -> None:
        if self._begin_ns is None:
            self._begin_ns = slot.due_ns
        if slot.sent is not None:
            self._pass_on(slot.due_ns)

    def end(self, ended: Ended) -> None:
        if ended.dark is not None:
            self._pass_on(ended.stopped_ns)

    def _pass_on(self, time_ns: int) -> None:
        bench = self._wall.bench
        if bench is not None:
            for aside in self._asides:
                aside.take(time_ns - (self._begin_ns or 0), bench.drives)


class _Hours:
    """A line every hour."""

    def __init__(self, tally: Tally, log: logging.Logger) -> None:
        self._tally, self._log = tally, log
        self._next_ns: int | None = None

    def take(self, slot: Slot) -> None:
        if self._next_ns is None:
            self._next_ns = slot.due_ns + HOUR_NS
        if slot.due_ns >= self._next_ns:
            self._next_ns += HOUR_NS
            self._log.info("so far: %s", self._tally.line())
