"""Signals that end a show, as a question it can ask: shall I stop?"""

from __future__ import annotations

import signal
from collections.abc import Iterator
from types import FrameType
from typing import Self

from emulator.closing import Closing


def heeded(*names: str) -> Iterator[int]:
    """The signals of some names that there are here: Windows has no SIGHUP.

    Without those that the program was started to ignore, as `nohup` does with SIGHUP.
    """
    for name in names:
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) is not signal.SIG_IGN:
            yield number


class Stopping(Closing):
    """While it is entered, a signal that would end the program only sets `why`.

    Call it: the reason to stop, '' as long as there is none. Only in the main thread.
    """

    def __init__(self) -> None:
        self.why = ""
        numbers = heeded("SIGINT", "SIGTERM", "SIGHUP")
        self._before = {number: signal.getsignal(number) for number in numbers}

    def __call__(self) -> str:
        return self.why

    def __enter__(self) -> Self:
        for number in self._before:
            signal.signal(number, self._take)
        return self

    def close(self) -> None:
        """Leave the signals as they were."""
        for number, handler in self._before.items():
            signal.signal(number, handler)

    def _take(self, number: int, frame: FrameType | None) -> None:
        name = signal.Signals(number).name
        self.why = "Ctrl-C" if name == "SIGINT" else name
