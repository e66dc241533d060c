"""Signals that end a show, as a value that the show can read."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from types import FrameType
from typing import Self

from emulator.closing import Closing


def respected(*names: str) -> Iterator[int]:
    """The signals of these names that this system has: Windows has no SIGHUP.

    Leaves out signals that this program ignores, such as SIGHUP under `nohup`.
    """
    for name in names:
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) is not signal.SIG_IGN:
            yield number


class Stopping(Closing):
    """Inside its block, a signal that would end the program only sets `why`.

    Calling the object returns the reason to stop, '' while there is none. Use it only in the main
    thread.
    """

    def __init__(self) -> None:
        self.why = ""
        numbers = respected("SIGINT", "SIGTERM", "SIGHUP")
        self._before = {number: signal.getsignal(number) for number in numbers}

    def __call__(self) -> str:
        return self.why

    def __enter__(self) -> Self:
        for number in self._before:
            signal.signal(number, self._take)
        return self

    def close(self) -> None:
        """Restore the signals."""
        for number, handler in self._before.items():
            signal.signal(number, handler)

    def _take(self, number: int, frame: FrameType | None) -> None:
        name = signal.Signals(number).name
        self.why = "Ctrl-C" if name == "SIGINT" else name
