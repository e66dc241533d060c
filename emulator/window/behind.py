"""A thread that draws one picture while the next one is calculated.

numpy lets go of the interpreter while it computes, so two cores share the work of a large wall. The
thread sleeps between pictures. `SimpleQueue` and plain locks do not break if Ctrl-C interrupts
them.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from queue import SimpleQueue

Work = Callable[[], object]


class Behind:
    """One thread, begun with the first work; one work at a time."""

    def __init__(self) -> None:
        self._jobs: SimpleQueue[tuple[Work, threading.Lock] | None] = SimpleQueue()
        self._thread: threading.Thread | None = None
        self._busy: threading.Lock | None = None
        self._error: BaseException | None = None

    def begin(self, work: Work) -> None:
        """Let the thread do the work; `wait` comes before the next one."""
        assert self._busy is None, "wait first"
        if self._thread is None:
            self._thread = threading.Thread(target=self._serve, name="foreglow draws", daemon=True)
            self._thread.start()
        busy = threading.Lock()
        busy.acquire()
        self._busy = busy
        self._jobs.put((work, busy))

    def wait(self) -> bool:
        """Return when the work is done, whether there was any. Raises what it raised."""
        if self._busy is None:
            return False
        self._busy.acquire()
        self._busy = None
        error, self._error = self._error, None
        if error is not None:
            raise error
        return True

    def close(self) -> None:
        """End the thread after its work; a second call does nothing."""
        if self._thread is not None:
            self._jobs.put(None)
            self._thread.join()
            self._thread = self._busy = None

    def _serve(self) -> None:
        while (job := self._jobs.get()) is not None:
            work, busy = job
            try:
                work()
            except BaseException as error:
                self._error = error
            del work, job  # it holds the memory of a picture
            busy.release()
