"""Bytes made into a waveform and read back, as the chips would read it."""

from __future__ import annotations

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
