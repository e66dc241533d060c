"""Processes that end with those that started them."""

from __future__ import annotations

import contextlib
import ctypes
import os
import sys

import psutil

_PR_SET_PDEATHSIG, _PR_SET_CHILD_SUBREAPER = 1, 36  # prctl(2), Linux
_SIGKILL = 9  # the module signal lacks it on Windows
_ROUNDS = 50  # of killing: the next round finds what was forked meanwhile
_ROUND_S = 0.2


def end_with_parent(parent: int) -> None:
    """Let the system kill this process when its parent ends, whatever it is doing then.

    parent: its process id. If it has already ended, this process ends at once. Linux kills it
    later; other systems only check now. Call it in a process whose starting thread lives as long.
    """
    _prctl(_PR_SET_PDEATHSIG, _SIGKILL)
    if is_gone(parent):
        os._exit(1)


def adopt_orphans() -> None:
    """Become the parent of descendants whose parent ends, so that `kill_descendants` finds them.

    On Linux only; elsewhere, it does not find a descendant whose parent has ended.
    """
    _prctl(_PR_SET_CHILD_SUBREAPER, 1)


def is_gone(parent: int) -> bool:
    """Whether the parent of this process has ended."""
    if hasattr(os, "fork"):  # here processes get another parent when theirs ends
        return os.getppid() != parent
    return not psutil.pid_exists(parent)


def reap_orphans(but: int) -> None:
    """Take the status of adopted processes that have ended, except `but`, which others wait for."""
    if not (sys.platform.startswith("linux") and hasattr(os, "waitid")):
        return
    with contextlib.suppress(ChildProcessError):
        flags = os.WEXITED | os.WNOHANG | os.WNOWAIT
        while (ended := os.waitid(os.P_ALL, 0, flags)) is not None and ended.si_pid != but:
            os.waitpid(ended.si_pid, 0)


def descendants(process: psutil.Process) -> list[psutil.Process]:
    """The processes that one has started, and theirs; none if it has ended."""
    with contextlib.suppress(psutil.Error):
        return process.children(recursive=True)
    return []


def kill(processes: list[psutil.Process]) -> None:
    """End them at once; ignores those that have ended. Never waits."""
    for process in processes:
        with contextlib.suppress(psutil.Error):
            process.kill()


def kill_descendants() -> None:
    """End all descendants of this process, until there are none."""
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
