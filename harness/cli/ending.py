"""Signals that end a command as Ctrl-C does, so that it gives back what it holds."""

from __future__ import annotations

import signal

_ENDING = ("SIGTERM", "SIGHUP")  # told to end; the terminal was closed. Windows has no SIGHUP


def end_as_by_ctrl_c() -> None:
    """From here on these signals raise KeyboardInterrupt.

    One that the command was started to ignore, as `nohup` does with SIGHUP, stays ignored.
    """
    for name in _ENDING:
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) is not signal.SIG_IGN:
            signal.signal(number, signal.default_int_handler)
