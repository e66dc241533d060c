"""Bytes made into a waveform and read back, as the chips would read it."""

from __future__ import annotations

import numpy as np

from emulator.arrays import Bytes
from emulator.description.chips import Clocked, OneWire
from emulator.signal import clocked, onewire


def as_read(data: Bytes, wire: OneWire | Clocked, clock_hz: float, starts_ns: int) -> Bytes:
    """What a chip reads of bytes (B,), at least one, that start on the wire at `starts_ns`.

    clock_hz: of chips with a clock line.
    """
    if isinstance(wire, OneWire):
        return onewire.decode(onewire.encode(data, wire, starts_ns), wire).data
    pair = clocked.encode(data, clock_hz, starts_ns)
    return clocked.decode(*pair, wire).data


class Reader:
    """The chips of one line. The edges of the same bytes are the same, only later: it reads those
    of the last bytes once."""

    def __init__(self, wire: OneWire | Clocked, clock_hz: float) -> None:
        self._wire, self._clock_hz = wire, clock_hz
        self._sent = self._last = np.zeros(0, np.uint8)

    def read(self, data: Bytes, starts_ns: int) -> Bytes:
        """What the chips read of bytes (B,) that start on the wire at `starts_ns`."""
        if not np.array_equal(data, self._sent):
            read = as_read(data, self._wire, self._clock_hz, starts_ns) if data.size else data
            self._sent, self._last = data.copy(), read
        return self._last
