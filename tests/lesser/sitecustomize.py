"""Hides what only POSIX or Linux has from an interpreter and those that it starts.

Python loads it at its start where this folder is in PYTHONPATH. Only foreglow misses those names,
modules and files: the libraries below it bring their own ways for each system.
"""

from __future__ import annotations

import builtins
import os
import sys
import types
import warnings
from collections.abc import Mapping, Sequence
from typing import Any

OURS = {"emulator", "harness", "scenes"}
NO_MODULES = {"tty", "resource", "termios", "fcntl", "pty", "pwd", "grp"}
NO_NAMES = {
    "os": "killpg getpgid setpgid setsid mkfifo fork forkpty openpty ttyname sysconf set_blocking"
    " pread pwrite getuid geteuid getpgrp waitid pidfd_open register_at_fork sched_getaffinity"
    " O_NOFOLLOW O_CLOEXEC O_NONBLOCK fchmod fchown WNOHANG",
    "signal": "SIGHUP SIGKILL SIGALRM SIGUSR1 SIGUSR2 SIGSTOP SIGCONT SIGCHLD SIGPIPE alarm"
    " setitimer pause pthread_kill pthread_sigmask set_wakeup_fd siginterrupt",
    "select": "poll epoll kqueue",
    "socket": "AF_UNIX SO_REUSEPORT CMSG_SPACE CMSG_LEN",
}
_import = builtins.__import__
_LESS: dict[str, types.ModuleType] = {}


def _ours(names: Mapping[str, Any] | None) -> bool:
    names = names or {}
    return str(names.get("__package__") or names.get("__name__")).partition(".")[0] in OURS


def _less(name: str) -> types.ModuleType:
    """A copy of a module without these names."""
    if name not in _LESS:
        _LESS[name] = types.ModuleType(name)
        gone = NO_NAMES[name].split()
        kept = {key: value for key, value in vars(sys.modules[name]).items() if key not in gone}
        vars(_LESS[name]).update(kept)
    return _LESS[name]


def _importing(
    name: str,
    globals: Mapping[str, Any] | None = None,
    locals: Mapping[str, Any] | None = None,
    fromlist: Sequence[str] = (),
    level: int = 0,
) -> types.ModuleType:
    module = _import(name, globals, locals, fromlist, level)
    if level == 0 and _ours(globals):
        if name in NO_MODULES:
            raise ModuleNotFoundError(f"No module named '{name}'", name=name)
        if name in NO_NAMES:
            return _less(name)
    return module


def _opening(event: str, told: tuple[Any, ...]) -> None:
    """There is no /proc: for the modules of foreglow, through pathlib and io too."""
    if event in ("open", "os.listdir", "os.scandir") and str(told[0]).startswith("/proc"):
        frame: types.FrameType | None = sys._getframe(1)
        while frame is not None and frame.f_globals.get("__name__") in ("pathlib", "io"):
            frame = frame.f_back
        if frame is not None and _ours(frame.f_globals):
            raise FileNotFoundError(2, "No such file or directory", str(told[0]))


if __name__ == "sitecustomize":  # not where a test reads the names above
    builtins.__import__ = _importing  # type: ignore[assignment]
    sys.addaudithook(_opening)
    if "FOREGLOW_LESSER_ENCODING" in os.environ:  # a text file read or written as the system has it
        warnings.filterwarnings(
            "error", category=EncodingWarning, module=r"(emulator|harness|scenes)([.]|$)"
        )
