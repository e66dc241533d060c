"""The wall of a show: an output that is opened again when it fails."""

from __future__ import annotations

import contextlib
import logging
from collections.abc import Callable
from typing import TYPE_CHECKING, cast

import numpy as np

from emulator.bench import Bench, Sent
from emulator.clock import SECOND_NS, Clock
from emulator.closing import Closing
from emulator.errors import (
    ForeglowError,
    FrameError,
    OutputClosedError,
    PictureError,
    WriteError,
)
from emulator.ports.link import Link
from emulator.ports.output import Output
from emulator.ports.serial_link import SerialOutput
from emulator.ports.several import SeveralOutput
from emulator.recorder import Recorder
from harness.show.guard import WELL_NS
from harness.show.player import Picture

if TYPE_CHECKING:
    from emulator.ports.window import WindowOutput

_FIRST_REST_NS, _MOST_REST_NS = SECOND_NS, 5 * SECOND_NS  # before it is opened again
_KEEP = 256  # frames remembered in memory: bounded all day
_FINAL = (OutputClosedError, WriteError, PictureError, FrameError)  # opening again mends none

_log = logging.getLogger("foreglow.show")


class Wall(Closing):
    """Sends to an output. Where it fails it is opened again after 1 s, 2 s, 4 s, 5 s, 5 s …

    After ten seconds without failure the trouble is over. It is told to the log once, and its end.
    A window cannot be paused: that would hold up the other outputs, and the end of the show.

    open_output: opens it. may_be_lit: whether an output was out when it should have got dark.
    link: what the way to the LEDs can carry. outages: how often it failed,
    and serial links in it that come back by themselves. lost: frames that serial links in it did
    not carry, or their boards not acknowledge. playing: what a window says is on.
    Raises what `open_output` raises, the first time.
    """

    def __init__(self, open_output: Callable[[], Output], clock: Clock, playing: str = "") -> None:
        self._open_output, self._clock = open_output, clock
        self.may_be_lit = False
        self.playing = playing
        self._outages = self._lost = 0  # of outputs that have been closed since
        self._rest_ns = _FIRST_REST_NS
        self._due_ns = 0
        self._out_since_ns: int | None = None
        self._back_ns: int | None = None  # since when frames go out again
        self._output: Output | None = self._open()
        self.link: Link = self._output.link
        self.display = self._output.bench.display

    @property
    def bench(self) -> Bench | None:
        """The emulated display, or the twin of the real one; None while the output is out."""
        return None if self._output is None else self._output.bench

    @property
    def outages(self) -> int:
        """How often it failed so far."""
        return self._outages + sum(one.connection.outages for one in self._serial())

    @property
    def lost(self) -> int:
        """Frames lost on serial links so far."""
        return self._lost + sum(one.counts.lost for one in self._serial())

    def send(self, picture: Picture) -> Sent | None:
        """Show a picture; None where the output is out.

        Raises OutputClosedError where a user has closed its window, WriteError where its file
        is full, PictureError for a picture of another display.
        """
        if self._output is None and self._clock.now_ns() >= self._due_ns:
            self._open_again()
        if self._output is None:
            return None
        try:
            self._let_through(self._output)
            sent = self._output.send(picture)
        except _FINAL:
            raise
        except (ForeglowError, OSError) as error:
            self._lose(error)
            return None
        if self._out_since_ns is not None:
            self._well(self._out_since_ns)
        return sent

    def pump(self) -> None:
        """Keep a window alive while nothing is sent."""
        if self._output is not None:
            self._output.pump()

    def darken(self) -> Sent | None:
        """Send a dark frame and return when it is latched; None where an output is out.

        Each of several outputs gets it, also where another one fails, or its user has closed it.
        """
        self.may_be_lit = self._output is None
        if self._output is None:
            return None
        dark = np.zeros(self.display.picture_shape, dtype=np.uint8)
        sent: list[Sent] = []
        for output in _each(self._output):
            try:
                self._let_through(output)
                sent.append(output.send(dark))
            except OutputClosedError:  # a window: there is no wall behind it
                continue
            except (ForeglowError, OSError):
                self.may_be_lit = True
        self._clock.wait_until(self._clock.now_ns() + round(self.link.latency_s * 1e9))
        self.may_be_lit |= not all(one.connection.up for one in self._serial())
        return None if self.may_be_lit or not sent else sent[0]

    def close(self) -> None:
        """Give back the output. Raises what it raises."""
        if self._output is None:
            return
        try:
            self._output.close()  # which waits for what is under way
        finally:
            self._outages, self._lost, self._output = self.outages, self.lost, None

    def _serial(self) -> list[SerialOutput]:
        """The serial outputs, which lose frames without raising anything."""
        outputs = () if self._output is None else _each(self._output)
        return [one for one in outputs if isinstance(one, SerialOutput)]

    def _let_through(self, output: Output) -> None:
        """Take back a pause, which would hold up what is sent; say what is on."""
        output.pump()  # what its user has done so far, so that nothing is left for `send` to find
        for one in _each(output):
            if hasattr(one, "state"):
                window = cast("WindowOutput", one)  # without pygame, where there is no window
                window.state.paused = False
                window.playing = self.playing or window.playing

    def _open(self) -> Output:
        output = self._open_output()
        for one in _each(output):
            if type(one.bench.recorder) is Recorder:  # which may keep all
                display = one.bench.display
                one.bench.recorder = Recorder(display.leds, len(display.chip.channels), _KEEP)
        return output

    def _open_again(self) -> None:
        try:
            self._output = self._open()
        except (ForeglowError, OSError) as error:
            self._lose(error)

    def _lose(self, error: Exception) -> None:
        now_ns = self._clock.now_ns()
        with contextlib.suppress(ForeglowError, OSError):
            self.close()
        if self._out_since_ns is None:
            self._outages += 1
            self._out_since_ns = now_ns
            _log.warning("the output is out, and is opened again: %s", error)
        self._back_ns = None
        self._due_ns = now_ns + self._rest_ns
        self._rest_ns = min(2 * self._rest_ns, _MOST_REST_NS)

    def _well(self, out_since_ns: int) -> None:
        """A frame has gone out after a trouble, which is over when that lasts."""
        now_ns = self._clock.now_ns()
        if self._back_ns is None:
            self._back_ns = now_ns
        if now_ns - self._back_ns >= WELL_NS:
            out_s = (self._back_ns - out_since_ns) / 1e9
            _log.info("the output works again, since %.1f s after it failed", out_s)
            self._out_since_ns, self._rest_ns = None, _FIRST_REST_NS


def _each(output: Output) -> tuple[Output, ...]:
    return output.outputs if isinstance(output, SeveralOutput) else (output,)
