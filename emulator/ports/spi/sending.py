"""A frame's bytes as SPI bytes: encoded for a one-wire chip, with the zeros that latch it."""

from __future__ import annotations

import numpy as np

from emulator.arrays import Bytes
from emulator.description.chips import Chip, OneWire
from emulator.ports.spi.encoding import latch_bytes
from emulator.ports.spi.setup import Sending, Wires


def spi_bytes(data: Bytes, chip: Chip, sending: Sending, wires: Wires) -> Bytes:
    """The bytes to send through SPI for the bytes (B,) of a line, as one transfer.

    For a one-wire chip, a zero byte comes first: a controller that drives MOSI low too slowly can
    spoil only that one. After the data come zeros for the reset time. If MOSI rests high, such
    zeros come before the data, too; otherwise the end of the rest would be the first bit.
    """
    if sending.encoding is None or not isinstance(chip.wire, OneWire):
        return data
    hz = wires.controller.real_hz(sending.hz)
    latch = latch_bytes(chip.wire.reset_ns, hz)
    ahead = 1 if wires.controller.idle == "low" else latch
    encoded = sending.encoding.encode(data)
    whole = np.zeros(ahead + encoded.size + latch, np.uint8)
    whole[ahead : ahead + encoded.size] = encoded
    return whole
