"""From drives to the bytes that each line sends."""

from __future__ import annotations

import numpy as np

from emulator.arrays import Bytes
from emulator.description.display import Display
from emulator.signal.framing import frame_bytes, in_order, is_framed


def to_wire(drives: Bytes, display: Display) -> list[Bytes]:
    """The bytes, uint8 (…, B), of each line for drives (…, N, C), in the chip's own framing.

    Raises FrameError for another shape or type, or an intensity above 31.
    """
    chip = display.chip
    ordered = in_order(drives, chip.to_wire)
    starts = display.wiring.line_starts
    lines = list(zip(starts, (*starts[1:], len(display.wiring)), strict=True))
    if is_framed(chip):
        return [frame_bytes(ordered[..., begin:end, :], chip) for begin, end in lines]
    data, each = frame_bytes(ordered, chip), chip.bytes_per_led
    return [data[..., each * begin : each * end] for begin, end in lines]


def line_bytes(display: Display) -> tuple[int, ...]:
    """How many bytes a whole frame has on each line, with the chip's own framing."""
    per_led = display.chip.bytes_per_led
    dark = [np.zeros((leds, per_led), np.uint8) for leds in display.wiring.line_lengths]
    return tuple(frame_bytes(leds, display.chip).size for leds in dark)
