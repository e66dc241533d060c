"""The walls that show questions: a real one, or an emulated one with faults."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from emulator.arrays import Srgb
from emulator.bench import Bench
from emulator.clock import SECOND_NS
from emulator.closing import Closing
from emulator.description.display import Display
from emulator.picture.srgb import linear_to_srgb
from emulator.ports.opening import open_output
from emulator.ports.output import Output


class Stage(Closing):
    """Shows pictures on an output, and keeps it alive; dark at the end."""

    def __init__(self, display: Display, address: str | Sequence[str]) -> None:
        self._display = display
        self._output: Output = open_output(address, display)

    def show(self, picture: Srgb) -> None:
        """Show a picture until the next one. Raises what the output raises."""
        self._output.send(picture)

    def pump(self) -> None:
        """Call often while a person looks."""
        self._output.pump()

    def close(self) -> None:
        """Go dark and close the output."""
        try:
            self._output.send(np.zeros(self._display.picture_shape, dtype=np.uint8))
        finally:
            self._output.close()


class Rehearsal(Closing):
    """An emulated wall with faults: `looks` is how it shows the last picture."""

    def __init__(self, display: Display) -> None:
        self._bench = Bench(display, powered=True, keep=8)

    def show(self, picture: Srgb) -> None:
        """Show a picture until the next one."""
        self._bench.clock.wait_until(self._bench.clock.now_ns() + SECOND_NS)
        self._bench.send(picture)
        self._bench.settle()

    @property
    def looks(self) -> Srgb:
        """(rows, columns, 3) sRGB of what the LEDs show, without the cover."""
        light = np.clip(self._bench.picture, 0, 1)
        return np.asarray((255 * linear_to_srgb(light)).round(), dtype=np.uint8)

    def pump(self) -> None:
        """Nothing to keep alive."""

    def close(self) -> None:
        """Nothing to close."""
