"""Where display code sends its pictures: the base class of every output."""

from __future__ import annotations

from abc import abstractmethod
from typing import ClassVar

from numpy.typing import ArrayLike

from emulator.bench import Bench, WireData
from emulator.closing import Closing
from emulator.description.display import Display
from emulator.ports.address import Address
from emulator.ports.link import Link, wire_link
from emulator.strip import Sent


class Output(Closing):
    """A place to send pictures to; use it as a context manager.

    bench: the emulated display. For real LEDs it is their twin: it shows what they show if every
    byte arrives. So code that reads `out.bench` runs on any output.

    returns: whether opening it again can help after a failure, as with a cable or a network.

    Subclass Output for an output inside this process. Subclass RemoteOutput
    (emulator/ports/remote.py), which needs less, for one that gives bytes to something outside.
    """

    bench: Bench
    returns: ClassVar[bool] = False

    @classmethod
    def open(cls, address: Address, display: Display) -> Output:
        """The output at an address; this version allows neither a place nor options.

        Raises AddressError, or another ForeglowError if it cannot be opened.
        """
        address.only(place=False)
        return cls(display)  # type: ignore[call-arg]  # subclasses take the display first

    @abstractmethod
    def send(self, picture: ArrayLike) -> Sent:
        """Show a picture (rows, columns, 3): uint8 by `canvas.curve`, or float linear light 0…1.

        Blocks until the frame has been latched, or the link has taken it. Raises PictureError, and
        OutputClosedError after `close`.
        """

    @abstractmethod
    def send_frame(self, data: WireData) -> Sent:
        """Send bytes in wire order: all lines one after the other, or a list with one item a line.

        data: as for `Bench.send_frame`. Blocks as `send` does. Raises FrameError, and
        OutputClosedError after `close`.
        """

    @property
    def link(self) -> Link:
        """The limits of the way to the LEDs for this display; in this class, of the LED wire."""
        return wire_link(self.bench.display)

    @property
    def beside(self) -> bool:
        """Whether it may wait in real time, for a cable, a network or an emulated wire.

        As an additional output it then has a thread of its own.
        """
        return False

    def pump(self) -> None:
        """Call this often while you send nothing, at least once a second.

        A window handles its events and draws; a link that must not go silent repeats the last
        frame. Other outputs do nothing.
        """
        return

    @abstractmethod
    def close(self) -> None:
        """Release what the output holds; a second call does nothing."""
