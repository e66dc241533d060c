"""An output beside the wall, which goes on whatever becomes of it."""

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
from emulator.ports.output import Output
from emulator.ports.reopening import Reopening

_FIRST_REST_NS, _MOST_REST_NS = SECOND_NS, 30 * SECOND_NS  # before it is opened again
_MEANT_OTHERWISE = (AddressError, UnknownNameError)
_OF_THE_PICTURE = (PictureError, FrameError)  # which the wall does not take either

_log = logging.getLogger("foreglow.output")


class Companion(Closing):
    """Sends to an output and logs its failure. Where that can help it is opened again, after 1 s,

    2 s … 30 s, beside the show; else it is left out.

    name: for people, as its address. opens: opens it. output: None while it is out.
    outages: how often it failed so far. may_be_lit: there are LEDs behind it, and it is out.
    """

    def __init__(self, name: str, opens: Callable[[], Output], clock: Clock | None = None) -> None:
        self.name = name
        self.output: Output | None = None
        self.outages = 0
        self.may_be_lit = False
        self._opens, self._clock = opens, clock or RealClock()
        self._again: Reopening[Output] | None = None  # while it is to be opened again
        self._rest_ns = _FIRST_REST_NS
        self._due_ns = self._out_since_ns = 0

    @classmethod
    def of(cls, output: Output) -> Companion:
        """One that is open, and cannot be opened again."""
        companion = cls(type(output).__name__, lambda: output)
        companion.output = output
        companion._opens = _gone
        return companion

    def begin(self) -> None:
        """Open it. Raises AddressError and UnknownNameError: it cannot have been meant so."""
        try:
            self.output = self._opens()
        except _MEANT_OTHERWISE:
            raise
        except Exception as error:
            # What cannot be written or shown now will not be later; a link may come.
            self._lose(error, isinstance(error, OSError) and not isinstance(error, WriteError))

    def send(self, send: Callable[[Output], object]) -> bool:
        """Whether it took what `send` gives it. Raises PictureError and FrameError."""
        self._open_again()
        if self.output is None:
            return False
        try:
            send(self.output)
        except _OF_THE_PICTURE:
            raise
        except Exception as error:  # also of another package's output
            self._lose(error, self.output.returns)
        return self.output is not None

    def pump(self) -> None:
        """Keep it alive while nothing is sent."""
        if self.output is not None:
            try:
                self.output.pump()
            except Exception as error:
                self._lose(error, self.output.returns)

    def close(self) -> None:
        """Close it; what that raises goes to the log."""
        if self._again is not None:
            self._again.close()
            self._again = None
        self._close()

    def _close(self) -> None:
        output, self.output = self.output, None
        if output is not None:
            try:
                output.close()
            except Exception as error:
                _log.warning("%s cannot be closed: %s", self.name, _words(error))

    def _lose(self, error: Exception, returns: bool) -> None:
        returns = returns and not isinstance(error, (OutputClosedError, WriteError))
        if self._again is None:
            self.outages += 1
            then = "opened again" if returns else "left out"
            _log.warning("%s is out, and is %s: %s", self.name, then, _words(error))
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
            self.output = self._again()
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
    """What is wrong, without how to mend it: nobody reads that in the middle of a show."""
    return f"{type(error).__name__}: {str(error).partition(chr(10))[0]}"
