"""Signals that end a command as Ctrl-C does, so that it releases what it holds."""

from __future__ import annotations

import signal

from emulator.stopping import respected


def end_as_by_ctrl_c() -> None:
    """From now on, SIGTERM and SIGHUP (the terminal was closed) raise KeyboardInterrupt."""
    for number in respected("SIGTERM", "SIGHUP"):
        signal.signal(number, signal.default_int_handler)
