"""Several outputs as one: the wall on the screen while the real one runs."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import ExitStack

from numpy.typing import ArrayLike

from emulator.bench import Sent, WireData
from emulator.errors import ForeglowError
from emulator.ports.link import Link, in_parallel
from emulator.ports.output import Output
from emulator.ports.remote import RemoteOutput


class SeveralOutput(Output):
    """Sends everything to all of some outputs; `bench` and what `send` returns are the first's.

    Those that hand bytes outside get theirs first, so that they travel while a window draws.
    When one raises, the rest is not sent. Raises ForeglowError for no outputs at all.
    """

    def __init__(self, outputs: Sequence[Output]) -> None:
        if not outputs:
            raise ForeglowError("no address to send to\n  To mend: give at least one.")
        self.outputs = tuple(outputs)
        self.bench = self.outputs[0].bench
        self._in_turn = sorted(self.outputs, key=lambda out: not isinstance(out, RemoteOutput))

    def send(self, picture: ArrayLike) -> Sent:
        """As Output.send, to each."""
        return self._each(lambda output: output.send(picture))

    def send_frame(self, data: WireData) -> Sent:
        """As Output.send_frame, to each."""
        return self._each(lambda output: output.send_frame(data))

    @property
    def link(self) -> Link:
        """The slowest of them."""
        return in_parallel(output.link for output in self.outputs)

    def pump(self) -> None:
        """Keep each alive."""
        for output in self.outputs:
            output.pump()

    def close(self) -> None:
        """Close all, also where one of them raises."""
        with ExitStack() as stack:
            for output in reversed(self.outputs):
                stack.callback(output.close)

    def _each(self, send: Callable[[Output], Sent]) -> Sent:
        sent = {output: send(output) for output in self._in_turn}
        return sent[self.outputs[0]]
