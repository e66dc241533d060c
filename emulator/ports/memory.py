"""An output without a screen, on a simulated clock: for tests and CI."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from typing import ClassVar

from numpy.typing import ArrayLike

from emulator.bench import Bench, WireData
from emulator.description.display import Display
from emulator.errors import OutputClosedError
from emulator.ports.address import Address
from emulator.ports.output import Output
from emulator.strip import Sent


class MemoryOutput(Output):
    """Sends to a Bench that any code can read: `out.bench.drives`, `out.bench.frames`."""

    _opens: ClassVar[Callable[[Display], MemoryOutput] | None] = None

    @classmethod
    def open(cls, address: Address, display: Display) -> MemoryOutput:
        """As Output.open; inside `opened_by`, the output that it gives."""
        address.only(place=False)
        return cls(display) if cls._opens is None else cls._opens(display)

    @classmethod
    @contextlib.contextmanager
    def opened_by(cls, opens: Callable[[Display], MemoryOutput]) -> Iterator[None]:
        """Inside this block, opening `memory:` gives the result of `opens(display)`.

        Use it in a test to give the code under test a bench of yours.
        """
        before, cls._opens = cls._opens, staticmethod(opens)
        try:
            yield
        finally:
            cls._opens = before

    def __init__(self, display: Display) -> None:
        self.bench = Bench(display)
        self._closed = False

    def send(self, picture: ArrayLike) -> Sent:
        """As Output.send; returns at once, in simulated time. Also raises OutputClosedError."""
        self._check_open()
        return self.bench.send(picture)

    def send_frame(self, data: WireData) -> Sent:
        """As Output.send_frame, in simulated time. Also raises OutputClosedError."""
        self._check_open()
        return self.bench.send_frame(data)

    def close(self) -> None:
        """Take no more pictures; the bench and its recording stay readable."""
        self._closed = True

    def _check_open(self) -> None:
        if self._closed:
            raise OutputClosedError("the output has been closed", fix="send within the with block.")
