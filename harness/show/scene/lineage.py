"""Processes that end with those that started them."""

from __future__ import annotations

import contextlib
import ctypes
import os
import sys

import psutil

_PR_SET_PDEATHSIG, _PR_SET_CHILD_SUBREAPER = 1, 36  # prctl(2), Linux
_SIGKILL = 9  # which the module signal has not on Windows
_ROUNDS = 50  # of killing: what is forked meanwhile is seen in the next
_ROUND_S = 0.2


def end_with_parent(parent: int) -> None:
    """Let the system kill this process when its parent ends, whatever it is doing then.

    parent: its number, which may have ended since: then this ends at once. On Linux; elsewhere
    only that is looked at. Call it in a process that a thread has started which lives as long.
    """
    _prctl(_PR_SET_PDEATHSIG, _SIGKILL)
    if is_gone(parent):
        os._exit(1)


def adopt_orphans() -> None:
    """Be the parent of descendants whose parent ends, so that `kill_descendants` finds them.

    On Linux; elsewhere a descendant whose parent has ended is nobody's.
    """
    _prctl(_PR_SET_CHILD_SUBREAPER, 1)


def is_gone(parent: int) -> bool:
    """Whether the parent of this process has ended."""
    if hasattr(os, "fork"):  # where processes are given to another parent when theirs ends
        return os.getppid() != parent
    return not psutil.pid_exists(parent)


def reap_orphans(but: int) -> None:
    """Take the status of adopted processes that have ended, except the one that is waited for."""
    if not (sys.platform.startswith("linux") and hasattr(os, "waitid")):
        return
    with contextlib.suppress(ChildProcessError):
        flags = os.WEXITED | os.WNOHANG | os.WNOWAIT
        while (ended := os.waitid(os.P_ALL, 0, flags)) is not None and ended.si_pid != but:
            os.waitpid(ended.si_pid, 0)


def descendants(process: psutil.Process) -> list[psutil.Process]:
    """The processes that one has started, and those they have; none where it has ended."""
    with contextlib.suppress(psutil.Error):
        return process.children(recursive=True)
    return []


def kill(processes: list[psutil.Process]) -> None:
    """End them at once; those that have ended are passed over. Never waits."""
    for process in processes:
        with contextlib.suppress(psutil.Error):
            process.kill()


def kill_descendants() -> None:
    """End all that this process has started, and what that has, until there is none."""
    this = psutil.Process()
    for _ in range(_ROUNDS):
        left = descendants(this)
        if not left:
            return
        kill(left)
        psutil.wait_procs(left, timeout=_ROUND_S)
        reap_orphans(but=-1)


def _prctl(option: int, value: int) -> None:
    if sys.platform.startswith("linux"):
        ctypes.CDLL(None, use_errno=True).prctl(option, value, 0, 0, 0)
