"""Work on what is shown that the show does not wait for."""

from __future__ import annotations

import contextlib
import queue
import threading
from collections.abc import Callable

import numpy as np

from emulator.arrays import Bytes
from emulator.closing import Closing

_MOST_WAITING = 240  # frames: some seconds of a show
_PATIENCE_S = 5.0  # for what waits, at the end

Take = Callable[[int, Bytes], None]


class Aside(Closing):
    """Passes frames on to `work` in a thread of its own; `close` waits for it, for 5 s at most.

    left_out: frames that were not passed on, because too many waited.
    """

    def __init__(self, work: Take) -> None:
        self.left_out = 0
        self._work = work
        self._waiting: queue.Queue[tuple[int, Bytes] | None] = queue.Queue(_MOST_WAITING)
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def take(self, time_ns: int, drives: Bytes) -> None:
        """Pass on a frame (N, C) shown from a time on; never waits."""
        try:
            self._waiting.put_nowait((time_ns, np.array(drives)))
        except queue.Full:
            self.left_out += 1

    def close(self) -> None:
        """Finish the frames that wait; a second call does nothing."""
        if self._thread.is_alive():
            with contextlib.suppress(queue.Full):
                self._waiting.put(None, timeout=_PATIENCE_S)
            self._thread.join(_PATIENCE_S)

    def _run(self) -> None:
        while (frame := self._waiting.get()) is not None:
            self._work(*frame)
