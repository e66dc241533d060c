"""Keeps a scene going: watches it and starts it again when it fails, after growing pauses."""

from __future__ import annotations

import logging
from collections.abc import Callable

from emulator.arrays import Picture
from emulator.clock import SECOND_NS, Clock
from emulator.closing import Closing
from emulator.errors import SceneError, SourceError
from harness.show.scene.player import Player

LOADING_NS = 30 * SECOND_NS  # for the first picture: imports and cameras take their time
WELL_NS = 10 * SECOND_NS  # after so long with pictures, a trouble is over
FIRST_REST_NS, MOST_REST_NS = SECOND_NS, 30 * SECOND_NS  # before a scene is started again
_MOST_TOLD = 16  # different messages logged for one trouble

_log = logging.getLogger("foreglow.show")


class Guard(Closing):
    """A scene that is asked for a picture at a time and never stops the show.

    If a scene raises or its process ends, it starts again after 1 s, then 2 s, 4 s … 30 s. The same
    happens if it has not answered for `patience_ns` (30 s for its first picture). A scene that has
    no picture now (SourceError) is asked again. After ten seconds with pictures the trouble is
    over. The log `foreglow.show` names each failure, each return with the time without the scene,
    and the end of the trouble. It names the same traceback or lack of pictures only once in a
    trouble.

    name: for people. start: starts the scene; raises SceneError if it cannot. awaited: whether an
    answer is still to come. restarts, troubles: how often so far.
    """

    def __init__(
        self, name: str, start: Callable[[], Player], clock: Clock, patience_ns: int
    ) -> None:
        self.name = name
        self.awaited = False
        self.restarts = self.troubles = 0
        self._start, self._clock, self._patience_ns = start, clock, patience_ns
        self._player: Player | None = None
        self._started = False  # once at least
        self._due_ns = clock.now_ns()  # for the next start
        self._rest_ns = FIRST_REST_NS
        self._asked_ns = 0
        self._proven = False  # this player has given a picture
        self._told: set[str] = set()  # what has been logged about the current trouble
        self._out_since_ns = self._back_ns = 0
        self._gone_since_ns: int | None = None  # of this one failure
        self._out_ns = 0  # of those before
        self._restarts_before = 0
        self._returns = False  # log the return, because the failure was logged

    def ask(self, time_s: float) -> None:
        """Ask for the picture of a time, unless one is awaited; start the scene if that is due."""
        now_ns = self._clock.now_ns()
        if self._player is None and now_ns >= self._due_ns:
            self._begin()
        if self._player is not None and not self.awaited:
            self._player.ask(time_s)
            self.awaited, self._asked_ns = True, now_ns

    def take(self) -> Picture | None:
        """The picture that has come since; None if none has."""
        if self._player is None or not self.awaited:
            return None
        now_ns = self._clock.now_ns()
        try:
            picture = self._player.take()
        except SourceError as error:
            self.awaited = False
            self._trouble(f"no picture now: {error.what}", "asking again")
            return None
        except SceneError as error:
            self.fail(error.what, error.trace)
            return None
        if picture is not None:
            self._well(now_ns)
            return picture
        patience_ns = self._patience_ns if self._proven else max(self._patience_ns, LOADING_NS)
        if now_ns - self._asked_ns >= patience_ns:
            self.fail(f"no answer for {patience_ns / SECOND_NS:g} s")
        return None

    @property
    def out(self) -> bool:
        """Whether pictures have stopped coming, for a reason that the log names."""
        return self._gone_since_ns is not None

    @property
    def out_ns(self) -> int:
        """How long the scene has been out in total, in ns."""
        since_ns = self._gone_since_ns
        return self._out_ns + (0 if since_ns is None else self._clock.now_ns() - since_ns)

    @property
    def late(self) -> bool:
        """Whether a picture is due that has not come, although the scene does return pictures."""
        return self.awaited and self._proven and not self.out

    def fail(self, why: str, trace: str = "") -> None:
        """The scene is at fault: end it, and start it again later.

        why: without the fix, which is for the author of the scene, not for a running show.
        """
        self._end()
        self._due_ns = self._clock.now_ns() + self._rest_ns
        then = f"starting it again in {self._rest_ns / SECOND_NS:g} s"
        self._trouble(why, then, trace, again=True)
        self._rest_ns = min(2 * self._rest_ns, MOST_REST_NS)

    def close(self) -> None:
        """End the scene; it may first release what it holds."""
        if self._player is not None:
            self._player.close()
            self._player = None

    def _begin(self) -> None:
        self.restarts += self._started
        self._started = True
        try:
            self._player = self._start()
        except SceneError as error:
            self.fail(error.what, error.trace)

    def _end(self) -> None:
        if self._player is not None:
            self._player.kill()
        self._player = None
        self.awaited = self._proven = False

    def _trouble(self, why: str, then: str, trace: str = "", again: bool = False) -> None:
        now_ns = self._clock.now_ns()
        if not self._told:
            self.troubles += 1
            self._out_since_ns = now_ns
            self._restarts_before = self.restarts
        if self._gone_since_ns is None:
            self._gone_since_ns = now_ns
        new = why not in self._told and len(self._told) < _MOST_TOLD
        if new or again:
            what = why
            if new:
                self._told.add(why)
                what += f"\n{trace.rstrip()}" if trace else ""
            self._returns = True
            _log.warning("%s is out, %s: %s", self.name, then, what)

    def _well(self, now_ns: int) -> None:
        """A picture has come."""
        self.awaited, self._proven = False, True
        if self._gone_since_ns is not None:
            gone_ns = now_ns - self._gone_since_ns
            self._out_ns += gone_ns
            self._gone_since_ns, self._back_ns = None, now_ns
            if self._returns:
                self._returns = False
                _log.info("%s is back, after %.1f s without it", self.name, gone_ns / SECOND_NS)
        if self._told and now_ns - self._back_ns >= WELL_NS:
            restarts = self.restarts - self._restarts_before
            _log.info(
                "%s runs well again, since %.1f s after its trouble began; restarts: %d",
                self.name,
                (self._back_ns - self._out_since_ns) / SECOND_NS,
                restarts,
            )
            self._told = set()
            self._rest_ns = FIRST_REST_NS
