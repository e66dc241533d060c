"""Signals that end a command as Ctrl-C does, so that it gives back what it holds."""

from __future__ import annotations

import signal

from emulator.stopping import respected


def end_as_by_ctrl_c() -> None:
    """From here on SIGTERM and SIGHUP, of a terminal that was closed, raise KeyboardInterrupt."""
    for number in respected("SIGTERM", "SIGHUP"):
        signal.signal(number, signal.default_int_handler)
