"""Where display code sends its pictures: the class that every output is one of."""

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

    bench: the emulated display. Where the LEDs are real it is their twin: it shows what they
    show if every byte arrives, so code that reads `out.bench` runs on any output.

    returns: whether opening it again can help where it has failed, as with a cable or a net.

    An output that runs in this process subclasses Output; one that hands bytes to something
    outside subclasses RemoteOutput (emulator/ports/remote.py), which needs less.
    """

    bench: Bench
    returns: ClassVar[bool] = False

    @classmethod
    def open(cls, address: Address, display: Display) -> Output:
        """The output at an address; this one takes neither a place nor options.

        Raises AddressError, or another ForeglowError where it cannot be opened.
        """
        address.only(place=False)
        return cls(display)  # type: ignore[call-arg]  # subclasses take the display first

    @abstractmethod
    def send(self, picture: ArrayLike) -> Sent:
        """Show a picture (rows, columns, 3): uint8 sRGB, or float linear light 0…1.

        Blocks until the frame has been latched, or the link has taken it. Raises PictureError.
        """

    @abstractmethod
    def send_frame(self, data: WireData) -> Sent:
        """Send bytes in wire order: all lines one after the other, or a list with one item a line.

        Blocks as `send` does. Raises FrameError.
        """

    @property
    def link(self) -> Link:
        """What the way to the LEDs can carry for this display; here the LED wire alone."""
        return wire_link(self.bench.display)

    def pump(self) -> None:
        """Call it often while nothing is sent: a window takes its events and draws, and what must
        not go silent repeats the last frame. Else nothing."""
        return

    @abstractmethod
    def close(self) -> None:
        """Give back what the output holds; a second call does nothing."""
