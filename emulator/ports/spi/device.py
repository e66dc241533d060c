"""A real SPI device, through the library spidev."""

from __future__ import annotations

from types import ModuleType
from typing import Any

from emulator.arrays import Bytes
from emulator.errors import SpiError
from emulator.ports.spi.controller import BUFSIZ
from emulator.ports.spi.setup import Device

_BUFSIZ_FILE = "/sys/module/spidev/parameters/bufsiz"


class RealDevice:
    """An open /dev/spidev…, set to a clock, mode 0, 8 bits a word, highest bit first.

    Raises SpiError if the library is missing, or the device cannot be opened or set.
    """

    def __init__(self, device: Device, hz: int) -> None:
        self.path = device.path
        self._spi: Any = _library().SpiDev()
        try:
            self._spi.open(device.bus, device.select)
            self._spi.mode = 0
            self._spi.bits_per_word = 8
            self._spi.max_speed_hz = hz
        except OSError as error:
            self._spi.close()
            raise SpiError(
                f"cannot be used: {error.strerror or error}",
                place=self.path,
                fix="switch SPI on, check the numbers of bus and device (ls /dev/spidev*), and join"
                " the group that may open it (ls -l).",
            ) from error

    def write(self, data: Bytes) -> None:
        """Send bytes, uint8 (B,); in several transfers if more than bufsiz. Raises OSError."""
        self._spi.writebytes2(data)

    def close(self) -> None:
        """Release the device."""
        self._spi.close()


def real_bufsiz() -> int:
    """Bytes of the longest message on this machine: the module parameter of spidev."""
    try:
        with open(_BUFSIZ_FILE, encoding="ascii") as told:
            return max(int(told.read()), 1)
    except (OSError, ValueError):
        return BUFSIZ


def _library() -> ModuleType:
    try:
        import spidev  # of the extra `spi`
    except ModuleNotFoundError as error:
        raise SpiError(
            "an SPI device needs the library spidev, which is not installed",
            fix="pip install 'foreglow[spi]' on the Linux computer with the device; it is built"
            " there, so it needs a C compiler. spi:?hz=2400000&bits=3 is emulated.",
        ) from error
    return spidev  # type: ignore[no-any-return]
