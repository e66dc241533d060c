"""Signals that end a show, as a question it can ask: shall I stop?"""

from __future__ import annotations

import signal
from types import FrameType, TracebackType
from typing import Self

_ENDING = ("SIGINT", "SIGTERM", "SIGHUP")  # Windows has no SIGHUP


class Stopping:
    """While it is entered, a signal that would end the program only sets `why`.

    One that the program was started to ignore, as `nohup` does with SIGHUP, stays ignored.
    Call it: the reason to stop, '' as long as there is none. Only in the main thread.
    """

    def __init__(self) -> None:
        self.why = ""
        self._before = {
            number: signal.getsignal(number)
            for name in _ENDING
            if (number := getattr(signal, name, None)) is not None
            and signal.getsignal(number) is not signal.SIG_IGN
        }

    def __call__(self) -> str:
        return self.why

    def __enter__(self) -> Self:
        for number in self._before:
            signal.signal(number, self._take)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        for number, handler in self._before.items():
            signal.signal(number, handler)

    def _take(self, number: int, frame: FrameType | None) -> None:
        name = signal.Signals(number).name
        self.why = "Ctrl-C" if name == "SIGINT" else name
