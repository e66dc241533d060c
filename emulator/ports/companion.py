"""An additional output; if it fails, the wall continues."""

from __future__ import annotations

import logging
from collections.abc import Callable

from emulator.clock import SECOND_NS, Clock, RealClock
from emulator.closing import Closing
from emulator.errors import (
    FrameError,
    OutputClosedError,
    PictureError,
    UnknownNameError,
    WriteError,
)
from emulator.ports.address import AddressError
from emulator.ports.beside import Beside
from emulator.ports.output import Output
from emulator.ports.reopening import Reopening

_FIRST_REST_NS, _MOST_REST_NS = SECOND_NS, 30 * SECOND_NS  # before it is opened again
_PATIENCE_S = 3.0  # for the last picture, and for closing
_MEANT_OTHERWISE = (AddressError, UnknownNameError)
_OF_THE_PICTURE = (PictureError, FrameError)  # the wall refuses such a picture, too

_log = logging.getLogger("foreglow.output")


class Companion(Closing):
    """Sends to an output and logs its failures.

    After a failure it opens the output again, if that can help, after 1 s, 2 s … 30 s, while the
    show continues; otherwise it leaves the output out. Nothing waits for an output that may wait
    for a cable or a network: a thread sends the newest picture when the output is ready. Do not
    change the data while that thread sends it.

    name: for people, such as its address. opens: opens it. output: None while it is out.
    outages: how often it has failed. may_be_lit: it has LEDs, which may still be lit, and is out.
    """

    def __init__(self, name: str, opens: Callable[[], Output], clock: Clock | None = None) -> None:
        self.name = name
        self.output: Output | None = None
        self.outages = 0
        self.may_be_lit = False
        self._beside: Beside | None = None  # if it is called in a thread of its own
        self._opens, self._clock = opens, clock or RealClock()
        self._again: Reopening[Output] | None = None  # while it is being opened again
        self._rest_ns = _FIRST_REST_NS
        self._due_ns = self._out_since_ns = 0

    @classmethod
    def of(cls, output: Output) -> Companion:
        """A companion for an open output, which cannot be opened again."""
        companion = cls(type(output).__name__, lambda: output)
        companion._opened(output)
        companion._opens = _gone
        return companion

    def begin(self) -> None:
        """Open it. Raises AddressError and UnknownNameError: the address is a mistake."""
        try:
            self._opened(self._opens())
        except _MEANT_OTHERWISE:
            raise
        except Exception as error:
            # A file or window that fails now will fail again; a link may come back.
            self._lose(error, isinstance(error, OSError) and not isinstance(error, WriteError))

    def send(self, send: Callable[[Output], object]) -> bool:
        """Send by `send(output)`; returns whether the output takes it. Raises PictureError and
        FrameError."""
        self._look()
        self._open_again()
        if self.output is None:
            return False
        if self._beside is not None:
            self._beside.put(send)
            return True
        try:
            send(self.output)
        except _OF_THE_PICTURE:
            raise
        except Exception as error:  # also of another package's output
            self._lose(error, self.output.returns)
        return self.output is not None

    def pump(self) -> None:
        """Call `pump` of the output, while nothing is sent."""
        self._look()
        if self._beside is not None:
            self._beside.put_if_idle(lambda output: output.pump())
        elif self.output is not None:
            try:
                self.output.pump()
            except Exception as error:
                self._lose(error, self.output.returns)

    def settle(self) -> bool:
        """Whether it has got everything that was sent, after waiting at most 3 s."""
        settled = self._beside is None or self._beside.settle(_PATIENCE_S)
        self._look()
        return settled

    def close(self) -> None:
        """Close it; the log names errors."""
        if self._again is not None:
            self._again.close()
            self._again = None
        self._close(_PATIENCE_S)

    def _opened(self, output: Output) -> None:
        self.output = output
        self._beside = Beside(output) if output.beside else None

    def _look(self) -> None:
        """See whether it has failed or has been opened meanwhile."""
        if self._beside is not None and self._beside.error is not None and self.output is not None:
            self._lose(self._beside.error, self.output.returns)

    def _close(self, seconds: float = 0.0) -> None:
        output, self.output = self.output, None
        beside, self._beside = self._beside, None
        if beside is not None:
            beside.close(seconds)
            if seconds and beside.error is not None:
                _log.warning("%s cannot be closed: %s", self.name, _words(beside.error))
        elif output is not None:
            try:
                output.close()
            except Exception as error:
                _log.warning("%s cannot be closed: %s", self.name, _words(error))

    def _lose(self, error: Exception, returns: bool) -> None:
        returns = returns and not isinstance(error, (OutputClosedError, WriteError))
        if self._again is None:
            self.outages += 1
            then = "will be opened again" if returns else "is left out"
            _log.warning("%s has failed and %s: %s", self.name, then, _words(error))
            self._out_since_ns = self._clock.now_ns()
        self._close()
        self.may_be_lit = returns
        self._again = (self._again or Reopening(self._opens, waits=False)) if returns else None
        self._due_ns = self._clock.now_ns() + self._rest_ns
        self._rest_ns = min(2 * self._rest_ns, _MOST_REST_NS)

    def _open_again(self) -> None:
        if self._again is None or self._clock.now_ns() < self._due_ns:
            return
        try:
            self._opened(self._again())
        except Exception as error:
            self._lose(error, True)
            return
        self._again, self.may_be_lit = None, False
        self._rest_ns = _FIRST_REST_NS
        out_s = (self._clock.now_ns() - self._out_since_ns) / SECOND_NS
        _log.warning("%s is back after %.1f s", self.name, out_s)


def _gone() -> Output:
    raise OutputClosedError("it cannot be opened again")


def _words(error: Exception) -> str:
    """The problem without its fix, for the log of a running show."""
    return f"{type(error).__name__}: {str(error).partition(chr(10))[0]}"
