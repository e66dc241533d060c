"""The wall of a show: an output that opens again after it fails."""

from __future__ import annotations

import contextlib
import logging
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, cast

import numpy as np

from emulator.arrays import Picture
from emulator.bench import Bench
from emulator.clock import SECOND_NS, Clock
from emulator.closing import Closing
from emulator.errors import (
    ForeglowError,
    FrameError,
    OutputClosedError,
    PictureError,
    WriteError,
)
from emulator.ports.companion import Companion
from emulator.ports.link import Link
from emulator.ports.output import Output
from emulator.ports.remote import RemoteOutput
from emulator.ports.serial.output import SerialOutput
from emulator.ports.several import Company
from emulator.recorder import Recorder
from emulator.strip import Sent
from harness.show.scene.guard import WELL_NS

if TYPE_CHECKING:
    from emulator.ports.surface import SurfaceOutput

_FIRST_REST_NS, _MOST_REST_NS = SECOND_NS, 5 * SECOND_NS  # before it is opened again
_KEEP = 256  # frames remembered in memory: bounded all day
_FINAL = (OutputClosedError, WriteError, PictureError, FrameError)  # opening again does not help

_log = logging.getLogger("foreglow.show")


class LiveWall(Closing):
    """Sends to an output. If it fails, it is opened again after 1 s, 2 s, 4 s, 5 s, 5 s …

    After ten seconds without failure the trouble is over. The log names its start and its end.
    A window cannot be paused: that would hold up the other outputs, and the end of the show.

    open_output: opens it. company: outputs that get the same frames; the show goes on without them.
    may_be_lit: whether the wall was out when it should have gone dark. lit_company: the outputs of
    the company that were. link: what the link to the LEDs of the wall can carry. outages: how often
    the wall and its company failed, including serial links that recovered by themselves. lost:
    frames that serial links did not carry, or their boards did not acknowledge. playing: what a
    window names. Raises what `open_output` raises the first time, and what opening the company
    raises.
    """

    def __init__(
        self,
        open_output: Callable[[], Output],
        clock: Clock,
        playing: str = "",
        company: Sequence[Companion] = (),
    ) -> None:
        self._open_output, self._clock = open_output, clock
        self._company = Company(company)
        self.may_be_lit = False
        self.lit_company: tuple[str, ...] = ()
        self.playing = playing
        self._outages = self._lost = 0  # of outputs that have been closed since
        self._rest_ns = _FIRST_REST_NS
        self._due_ns = 0
        self._out_since_ns: int | None = None
        self._back_ns: int | None = None  # since when frames go out again
        self._output: Output | None = self._open()
        try:
            self._company.begin()
        except BaseException:
            self.close()
            raise
        for one in self._company.outputs:
            _bound(one)
        self.link: Link = self._output.link
        self.display = self._output.bench.display

    @property
    def bench(self) -> Bench | None:
        """The emulated display, or the twin of the real one; None while the output is out."""
        return None if self._output is None else self._output.bench

    @property
    def outages(self) -> int:
        """How often it failed so far."""
        company = sum(one.outages for one in self._company.companions)
        return self._outages + company + sum(one.connection.outages for one in self._serial())

    @property
    def lost(self) -> int:
        """Frames lost on serial links so far."""
        return self._lost + sum(one.counts.lost for one in self._serial())

    def send(self, picture: Picture) -> Sent | None:
        """Show a picture; None if the wall is out.

        Raises OutputClosedError if its window was closed, WriteError if its file cannot be written,
        PictureError for a picture of another display.
        """
        if self._output is None and self._clock.now_ns() >= self._due_ns:
            self._open_again()
        remote = isinstance(self._output, RemoteOutput)
        return self._company.send_with(
            lambda: self._send(picture), remote, lambda one: self._through(one, picture)
        )

    def _send(self, picture: Picture) -> Sent | None:
        if self._output is None:
            return None
        try:
            sent = self._through(self._output, picture)
        except _FINAL:
            raise
        except (ForeglowError, OSError) as error:
            self._lose(error)
            return None
        if self._out_since_ns is not None:
            self._well(self._out_since_ns)
        return sent

    def pump(self) -> None:
        """Keep windows and quiet boards alive while nothing is sent."""
        if self._output is not None:
            self._output.pump()
        self._company.pump()

    def darken(self) -> Sent | None:
        """Send a dark frame and return when it is latched; None if the wall is out.

        The company also gets it, even if the wall is out or its window was closed.
        """
        dark = np.zeros(self.display.picture_shape, dtype=np.uint8)
        for one in self._company.companions:
            one.send(lambda output: self._through(output, dark))
        sent: Sent | None = None
        closed = False
        if self._output is not None:
            try:
                sent = self._through(self._output, dark)
            except OutputClosedError:  # a window: there is no wall behind it
                closed = True
            except (ForeglowError, OSError):
                pass
        self._clock.wait_until(self._clock.now_ns() + round(self.link.latency_s * 1e9))
        self.may_be_lit = not closed and (sent is None or not _up(self._output))
        self.lit_company = tuple(
            one.name
            for one in self._company.companions
            if not one.settle() or one.may_be_lit or not _up(one.output)
        )
        return None if self.may_be_lit else sent

    def close(self) -> None:
        """Close the outputs. Raises what closing the wall's output raises."""
        outages, lost = self.outages, self.lost
        try:
            self._company.close()
            self._close()
        finally:
            company = sum(one.outages for one in self._company.companions)
            self._outages, self._lost = outages - company, lost

    def _close(self) -> None:
        if self._output is None:
            return
        output, self._output = self._output, None
        try:
            output.close()  # waits for frames that are still being sent
        finally:
            if isinstance(output, SerialOutput):
                self._outages += output.connection.outages
                self._lost += output.counts.lost

    @property
    def _outputs(self) -> tuple[Output, ...]:
        """Those that are open."""
        return (() if self._output is None else (self._output,)) + self._company.outputs

    def _serial(self) -> list[SerialOutput]:
        """The serial outputs, which lose frames without raising anything."""
        return [one for one in self._outputs if isinstance(one, SerialOutput)]

    def _through(self, output: Output, picture: Picture) -> Sent:
        """Send to one output. Take back a window's pause, which would hold up the others."""
        output.pump()  # handle the window's events now, so that `send` finds none
        if hasattr(output, "state"):
            window = cast("SurfaceOutput[Any]", output)
            window.state.paused = False
            window.playing = self.playing or window.playing
        return output.send(picture)

    def _open(self) -> Output:
        output = self._open_output()
        _bound(output)
        return output

    def _open_again(self) -> None:
        try:
            self._output = self._open()
        except (ForeglowError, OSError) as error:
            self._lose(error)

    def _lose(self, error: Exception) -> None:
        now_ns = self._clock.now_ns()
        with contextlib.suppress(ForeglowError, OSError):
            self._close()
        if self._out_since_ns is None:
            self._outages += 1
            self._out_since_ns = now_ns
            _log.warning("the output is out, and is opened again: %s", error)
        self._back_ns = None
        self._due_ns = now_ns + self._rest_ns
        self._rest_ns = min(2 * self._rest_ns, _MOST_REST_NS)

    def _well(self, out_since_ns: int) -> None:
        """A frame has gone out after a trouble; if that lasts, the trouble is over."""
        now_ns = self._clock.now_ns()
        if self._back_ns is None:
            self._back_ns = now_ns
        if now_ns - self._back_ns >= WELL_NS:
            out_s = (self._back_ns - out_since_ns) / 1e9
            _log.info("the output works again, since %.1f s after it failed", out_s)
            self._out_since_ns, self._rest_ns = None, _FIRST_REST_NS


def _bound(output: Output) -> None:
    """Bound its recording, so that it does not grow all day."""
    if type(output.bench.recorder) is Recorder:  # it may keep everything
        display = output.bench.display
        output.bench.recorder = Recorder(display.leds, len(display.chip.channels), _KEEP)


def _up(output: Output | None) -> bool:
    """Whether frames arrive, as far as an open output can know."""
    return not isinstance(output, SerialOutput) or output.connection.up
