"""A second thread for the pixels: numpy lets go of the interpreter while it computes.

It is started when first used, ends with the program, and a forked child gets one of its own.
The executors and threads of the standard library are not used here: a Ctrl-C within them can
leave a lock taken for ever. The parts they are made of, which are written in C, do not break there.
"""

from __future__ import annotations

import _thread
import os
from collections.abc import Callable
from queue import SimpleQueue

Work = Callable[[int], None]


class _Job:
    """Work(1), which whoever is first takes: the second thread to do, or the first one back."""

    def __init__(self, work: Work) -> None:
        # Emptied at the end, so that the second thread holds on to no screen's memory meanwhile.
        self._work: Work | None = work
        self._taken, self._done = _thread.allocate_lock(), _thread.allocate_lock()
        self._error: BaseException | None = None
        self._done.acquire()

    def run(self) -> None:
        """On the second thread."""
        if not self._taken.acquire(blocking=False):
            return
        try:
            assert self._work is not None
            self._work(1)
        except BaseException as error:
            self._error = error
        self._work = None
        self._done.release()

    def settle(self) -> None:
        """On the first: take it back, or wait until it is done and raise what it did."""
        if self._taken.acquire(blocking=False):
            self._work = None
            return
        try:
            self._done.acquire()
        finally:  # a Ctrl-C ends the wait, but the other still writes where the next picture goes
            while self._work is not None:
                pass
        if self._error is not None:
            raise self._error


class _Second:
    """The second thread, begun with the first job."""

    def __init__(self) -> None:
        self._jobs: SimpleQueue[_Job] = SimpleQueue()
        self._begun = False

    def give(self, job: _Job) -> None:
        """Let it do the job next, if the system gives us a thread."""
        if not self._begun:
            try:
                _thread.start_new_thread(self._serve, ())
            except RuntimeError:
                return
            self._begun = True
        self._jobs.put(job)

    def _serve(self) -> None:
        while True:
            self._jobs.get().run()


_second = _Second()


def _renew() -> None:
    global _second
    _second = _Second()


if hasattr(os, "register_at_fork"):  # not on Windows, which does not fork
    os.register_at_fork(after_in_child=_renew)


def in_pair(work: Work) -> None:
    """Run work(0) here and work(1) on the second thread at once; back when neither runs.

    The two must share out what there is to do so that work(0) alone does all of it: where the
    second thread is busy, or there is none to be had, work(1) is left out. Raises what either
    does.
    """
    job = _Job(work)
    try:
        _second.give(job)
        work(0)
    finally:
        job.settle()
