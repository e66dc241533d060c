"""Opens outputs by their addresses: one class a kind, and several side by side."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence

from emulator.clock import Clock
from emulator.description.display import Display
from emulator.errors import UnknownNameError
from emulator.ports.address import Address, AddressError
from emulator.ports.companion import Companion
from emulator.ports.output import Output
from emulator.ports.several import SeveralOutput
from emulator.registry import Registry

OUTPUTS: Mapping[str, str] = {
    "memory": "emulator.ports.memory:MemoryOutput",
    "window": "emulator.ports.window:WindowOutput",
    "browser": "emulator.ports.browser:BrowserOutput",
    "vcd": "emulator.ports.vcd:VcdOutput",
    "serial": "emulator.ports.serial.output:SerialOutput",
    "loop": "emulator.ports.serial.output:SerialOutput",
    "socket": "emulator.ports.serial.output:SerialOutput",
    "rfc2217": "emulator.ports.serial.output:SerialOutput",
    "e131": "emulator.ports.e131:E131Output",
    "spi": "emulator.ports.spi.output:SpiOutput",
}


def open_output(address: str | Sequence[str], display: Display) -> Output:
    """The output at an address, or one output that sends every picture to several addresses.

    Of several the first is the wall. If another one fails, even while it is opened, foreglow logs
    that, and opens it again if that can help; otherwise it leaves it out.

    'memory:' (simulated time), 'window:' (real time, on screen), 'browser:8080', 'vcd:FILE',
    'serial:///dev/ttyACM0?baud=2000000', 'socket://HOST:PORT', 'e131://HOST?universe=1',
    'spi:///dev/spidev0.0?hz=2400000&bits=3'. README.md beside this file explains them.

    Raises UnknownNameError, which lists the kinds of output, AddressError if the rest of an address
    is wrong, and what the output raises if it cannot be opened.
    """
    if isinstance(address, str):
        return _open_one(address, display)
    judge_doubles(address)
    if not address:
        return SeveralOutput(())
    first = _open_one(address[0], display)
    others = company(address[1:], display)
    try:
        several = SeveralOutput([first, *others])
        several.company.begin()
    except BaseException:
        for output in (first, *others):
            output.close()
        raise
    return several


def company(
    addresses: Sequence[str], display: Display, clock: Clock | None = None
) -> list[Companion]:
    """The additional outputs, not opened yet. clock: times when they are opened again."""

    def opening(text: str) -> Callable[[], Output]:
        return lambda: _open_one(text, display)

    return [Companion(str(one), opening(one), clock) for one in addresses]


def judge_doubles(addresses: Sequence[str]) -> None:
    """Raise AddressError if two addresses are the same place, such as one file or port twice."""
    seen: set[tuple[str, ...]] = set()
    for text in addresses:
        parsed = Address.parse(str(text))
        place = parsed.kind, os.path.abspath(parsed.place), str(sorted(parsed.options.items()))
        if parsed.place and place in seen:
            raise AddressError(
                f"'{text}' is the same place as another address", fix="send to each place once."
            )
        seen.add(place)


def _open_one(text: str, display: Display) -> Output:
    kind, colon, _ = text.partition(":") if isinstance(text, str) else (str(text), "", "")
    if not colon or kind not in _outputs:
        raise UnknownNameError("output", str(text), [f"{name}:" for name in _outputs.names()])
    return _outputs[kind].open(Address.parse(text), display)


_outputs = Registry[type[Output]](
    "output",
    OUTPUTS,
    lambda thing: isinstance(thing, type) and issubclass(thing, Output),
    "a subclass of emulator.Output",
    key=str.lower,
)
