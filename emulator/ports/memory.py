"""An output without a screen, on a simulated clock: for tests and CI."""

from __future__ import annotations

from numpy.typing import ArrayLike

from emulator.bench import Bench, Sent, WireData
from emulator.description.display import Display
from emulator.ports.output import Output


class MemoryOutput(Output):
    """Sends to a Bench that any code may look at: `out.bench.drives`, `out.bench.frames`."""

    def __init__(self, display: Display) -> None:
        self.bench = Bench(display)

    def send(self, picture: ArrayLike) -> Sent:
        return self.bench.send(picture)

    def send_frame(self, data: WireData) -> Sent:
        return self.bench.send_frame(data)

    def close(self) -> None:
        """Nothing to give back: the bench and its recording stay readable."""
