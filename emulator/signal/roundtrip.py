"""Bytes made into a waveform and read back, as the chips would read it."""

from __future__ import annotations

from emulator.arrays import Bytes
from emulator.description.chips import Clocked, OneWire
from emulator.signal import clocked, onewire

_MOST_KNOWN = 1 << 21  # bytes sent whose reading is remembered, by all lines


def as_read(data: Bytes, wire: OneWire | Clocked, clock_hz: float, starts_ns: int) -> Bytes:
    """What a chip reads of bytes (B,), at least one, that start on the wire at `starts_ns`.

    clock_hz: of chips with a clock line.
    """
    if isinstance(wire, OneWire):
        return onewire.decode(onewire.encode(data, wire, starts_ns), wire).data
    pair = clocked.encode(data, clock_hz, starts_ns)
    return clocked.decode(*pair, wire).data


class Reader:
    """The chips of all lines. The edges of the same bytes are the same, only later: it reads those
    of a line once, and remembers what it read last."""

    def __init__(self, wire: OneWire | Clocked, clock_hz: float) -> None:
        self._wire, self._clock_hz = wire, clock_hz
        self._known: dict[bytes, Bytes] = {}  # the one asked for last comes last
        self._size = 0

    def read(self, data: Bytes, starts_ns: int) -> Bytes:
        """What the chips read of bytes (B,) that start on the wire at `starts_ns`."""
        if not data.size:
            return data
        sent = data.tobytes()
        read = self._known.pop(sent, None)
        if read is None:
            read = as_read(data, self._wire, self._clock_hz, starts_ns)
            self._size += len(sent)
            while self._size > _MOST_KNOWN and self._known:
                oldest = next(iter(self._known))
                del self._known[oldest]
                self._size -= len(oldest)
        self._known[sent] = read
        return read
