"""The base of outputs that give bytes to something outside: a cable, a network, a file."""

from __future__ import annotations

from abc import abstractmethod
from typing import ClassVar

from numpy.typing import ArrayLike

from emulator.arrays import Bytes
from emulator.bench import Bench, WireData
from emulator.canvas import Canvas
from emulator.clock import Clock, RealClock
from emulator.description.display import Display
from emulator.errors import OutputClosedError
from emulator.ports.link import Link, in_a_row, wire_link
from emulator.ports.output import Output
from emulator.strip import Sent

_KEEP = 256  # frames in the twin's recording: bounded all day


class RemoteOutput(Output):
    """Pictures become bytes as on any output; `_put` sends them; the twin (`bench`) shows them.

    A subclass implements `open`, `_put`, `transport` and `_release`. Its constructor passes a
    running clock (`RealClock()`), or None for the twin's simulated time, in which every frame
    follows the one before as soon as the wire is free.

    The twin calculates what `send` returns: when the LEDs latch the frame if nothing is lost.
    """

    returns: ClassVar[bool] = True

    def __init__(self, display: Display, clock: Clock | None = None) -> None:
        self.bench = Bench(display, keep=_KEEP)
        self.clock = clock or self.bench.clock
        self._canvas = Canvas(display)
        self._closed = False

    @abstractmethod
    def _put(self, lines: list[Bytes]) -> None:
        """Send one frame, uint8 (B,) for each line, as on the wire; block until it is taken.

        Do not raise because the other side is gone: count such a frame as lost.
        """

    @property
    @abstractmethod
    def transport(self) -> Link:
        """The limit of the link to the controller, without the LED wire."""

    @abstractmethod
    def _release(self) -> None:
        """Close everything that is open; called once."""

    @property
    def beside(self) -> bool:
        """As Output.beside."""
        return isinstance(self.clock, RealClock)

    @property
    def link(self) -> Link:
        """The transport and the LED wire, one after the other."""
        return in_a_row(self.transport, wire_link(self.bench.display))

    def send(self, picture: ArrayLike) -> Sent:
        """As Output.send. Raises OutputClosedError and PictureError."""
        return self._send(self._canvas.wire(picture, self.clock.now_ns()))

    def send_frame(self, data: WireData) -> Sent:
        """As Output.send_frame. Raises OutputClosedError and FrameError."""
        return self._send(self.bench.split(data))

    def close(self) -> None:
        """Close everything that is open; you can still read the twin."""
        if not self._closed:
            self._closed = True
            self._release()

    def _send(self, lines: list[Bytes]) -> Sent:
        if self._closed:
            raise OutputClosedError(
                f"the output of '{self.bench.display.name}' has been closed",
                fix="open a new one, and send before it is closed.",
            )
        self._put(lines)
        if self.clock is not self.bench.clock:
            delay_ns = round(self.transport.latency_s * 1e9)
            self.bench.clock.wait_until(self.clock.now_ns() + delay_ns)
        return self._show(lines)

    def _show(self, lines: list[Bytes]) -> Sent:
        """Show a frame that `_put` has taken on the twin: all of it arrives."""
        return self.bench.send_frame(lines)
