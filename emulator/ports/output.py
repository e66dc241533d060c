"""Where display code sends its pictures: one class a kind of output, chosen by its address."""

from __future__ import annotations

import importlib
from abc import ABC, abstractmethod
from collections.abc import Mapping
from types import TracebackType
from typing import Self

from numpy.typing import ArrayLike

from emulator.bench import Sent, WireData
from emulator.description.display import Display
from emulator.errors import UnknownNameError

OUTPUTS: Mapping[str, str] = {
    "memory": "emulator.ports.memory:MemoryOutput",
    "window": "emulator.ports.window:WindowOutput",
}


class Output(ABC):
    """A place to send pictures to; use it as a context manager."""

    @abstractmethod
    def send(self, picture: ArrayLike) -> Sent:
        """Show a picture (rows, columns, 3): uint8 sRGB, or float linear light 0…1.

        Blocks until the frame has been latched. Raises PictureError.
        """

    @abstractmethod
    def send_frame(self, data: WireData) -> Sent:
        """Send bytes in wire order: all lines one after the other, or a list with one item a line.

        Blocks until the frame has been latched. Raises FrameError.
        """

    @abstractmethod
    def close(self) -> None:
        """Give back what the output holds; a second call does nothing."""

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()


def open_output(address: str, display: Display) -> Output:
    """The output at an address: 'memory:' (simulated time), 'window:' (real time, on screen).

    Raises UnknownNameError listing the kinds of output.
    """
    kind, colon, rest = address.partition(":")
    if not colon or rest or kind not in OUTPUTS:
        raise UnknownNameError("output", address, [f"{name}:" for name in OUTPUTS])
    module, _, name = OUTPUTS[kind].partition(":")
    output = getattr(importlib.import_module(module), name)(display)
    assert isinstance(output, Output)
    return output
