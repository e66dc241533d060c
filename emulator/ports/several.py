"""Several outputs: the first is the wall, the others are additional."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import ExitStack
from typing import TypeVar

import numpy as np
from numpy.typing import ArrayLike

from emulator.bench import WireData
from emulator.closing import Closing
from emulator.errors import ForeglowError
from emulator.ports.companion import Companion
from emulator.ports.link import Link
from emulator.ports.output import Output
from emulator.ports.remote import RemoteOutput
from emulator.strip import Sent

_Told = TypeVar("_Told")


class Company(Closing):
    """The additional outputs. None of their failures stops the wall.

    outputs: those that are open.
    """

    def __init__(self, companions: Sequence[Companion] = ()) -> None:
        self.companions = tuple(companions)

    @property
    def outputs(self) -> tuple[Output, ...]:
        """The outputs that are open."""
        return tuple(one.output for one in self.companions if one.output is not None)

    def begin(self) -> None:
        """Open all. Raises AddressError and UnknownNameError for an address that is a mistake."""
        for one in self.companions:
            one.begin()

    def send_with(
        self, first: Callable[[], _Told], remote: bool, send: Callable[[Output], object]
    ) -> _Told:
        """Send to the wall by `first`, and to the others by `send`.

        Returns and raises what `first` does. remote: whether the wall is a RemoteOutput. If it is
        not, remote outputs get the frame first, so that it is sent while a window draws.
        """
        early = [
            one for one in self.companions if not remote and isinstance(one.output, RemoteOutput)
        ]
        for one in early:
            one.send(send)
        try:
            return first()
        finally:
            for one in self.companions:
                if one not in early:
                    one.send(send)

    def pump(self) -> None:
        """Keep each alive."""
        for one in self.companions:
            one.pump()

    def close(self) -> None:
        """Close all; the log names errors."""
        for one in self.companions:
            one.close()


class SeveralOutput(Output):
    """Sends everything to several outputs, of which the first is the wall.

    `bench`, and what `send` returns and raises, are those of the wall. If another output fails, the
    log `foreglow.output` says so. A link is opened again after 1 s, 2 s … 30 s; a file or a closed
    window is left out. Raises ForeglowError without outputs.
    """

    def __init__(self, outputs: Sequence[Output | Companion]) -> None:
        if not outputs:
            raise ForeglowError("no address to send to", fix="give at least one.")
        first, *others = outputs
        assert isinstance(first, Output), "the first is the wall"
        self.first = first
        self.bench = first.bench
        self.company = Company(
            [one if isinstance(one, Companion) else Companion.of(one) for one in others]
        )

    @property
    def outputs(self) -> tuple[Output, ...]:
        """The outputs that are open, the wall first."""
        return (self.first, *self.company.outputs)

    def send(self, picture: ArrayLike) -> Sent:
        """As Output.send, to each."""
        same = np.array(picture)  # a copy: the caller may change it before all have taken it
        return self._each(lambda output: output.send(same))

    def send_frame(self, data: WireData) -> Sent:
        """As Output.send_frame, to each."""
        same = [line.copy() for line in self.bench.split(data)]
        return self._each(lambda output: output.send_frame(same))

    @property
    def link(self) -> Link:
        """The link of the wall: the others take as many frames as they can."""
        return self.first.link

    def pump(self) -> None:
        """Keep each alive."""
        self.first.pump()
        self.company.pump()

    def close(self) -> None:
        """Close all. Raises what the wall raises."""
        with ExitStack() as stack:
            stack.callback(self.company.close)
            stack.callback(self.first.close)

    def _each(self, send: Callable[[Output], Sent]) -> Sent:
        remote = isinstance(self.first, RemoteOutput)
        return self.company.send_with(lambda: send(self.first), remote, send)
