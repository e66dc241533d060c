"""Several outputs: the first is the wall, the others are its company."""

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
    """The outputs beside the wall. Nothing that becomes of them stops it.

    outputs: those that are open.
    """

    def __init__(self, companions: Sequence[Companion] = ()) -> None:
        self.companions = tuple(companions)

    @property
    def outputs(self) -> tuple[Output, ...]:
        return tuple(one.output for one in self.companions if one.output is not None)

    def begin(self) -> None:
        """Open all. Raises AddressError and UnknownNameError for one that cannot be meant."""
        for one in self.companions:
            one.begin()

    def send_with(
        self, first: Callable[[], _Told], remote: bool, send: Callable[[Output], object]
    ) -> _Told:
        """Send to the wall by `first`, and to its company; returns and raises what `first` does.

        Those that hand bytes outside get theirs before a wall that does not (`remote`), so
        that they travel while a window draws.
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
        """Close all; what they raise goes to the log."""
        for one in self.companions:
            one.close()


class SeveralOutput(Output):
    """Sends everything to all of some outputs. The first is the wall: `bench`, what `send` returns

    and what it raises are the wall's. Another one that fails is logged (`foreglow.output`). A
    link is opened again, after 1 s, 2 s … 30 s; a file or a closed window is left out.

    Raises ForeglowError for no outputs at all.
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
        """Those that are open, the wall first."""
        return (self.first, *self.company.outputs)

    def send(self, picture: ArrayLike) -> Sent:
        """As Output.send, to each."""
        same = np.array(picture)  # which the caller may change before all have taken it
        return self._each(lambda output: output.send(same))

    def send_frame(self, data: WireData) -> Sent:
        """As Output.send_frame, to each."""
        same = [line.copy() for line in self.bench.split(data)]
        return self._each(lambda output: output.send_frame(same))

    @property
    def link(self) -> Link:
        """That of the wall: the others take what they can."""
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
