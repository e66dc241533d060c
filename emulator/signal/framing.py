"""The bytes of one frame on the wire: LED bytes in the chip's framing."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from emulator.description.chips import Chip, Clocked
from emulator.errors import FrameError

START_BYTES = 4  # APA102 datasheet: the start frame is 32 zero bits
LEDS_A_ZERO = 32  # a zero byte latches so many LEDs: LPD8806 datasheet, from memory
_HIGH = np.uint8(0x80)  # LPD8806 datasheet, from memory: set in every byte of an LED
_MARK = np.uint8(0b111_00000)  # APA102 datasheet: the bytes of an LED begin with three ones


def has_end_frame(chip: Chip) -> bool:
    """Whether the chip needs a start frame, marked LEDs and an end frame."""
    return chip.order.startswith("I")


def has_seven_bits(chip: Chip) -> bool:
    """Whether each byte of an LED has a high bit above 7 bits of level, and zero bytes latch."""
    return isinstance(chip.wire, Clocked) and chip.wire.latch == "zero bytes"


def is_framed(chip: Chip) -> bool:
    """Whether a line carries more than the plain bytes of its LEDs."""
    return has_end_frame(chip) or has_seven_bits(chip)


def zero_bytes(leds: int) -> int:
    """Zero bytes that latch so many LEDs: one for every 32 (LPD8806 datasheet, from memory)."""
    return -(-leds // LEDS_A_ZERO)


def seven_bits(drives: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Drives (…) as bytes with a high bit above 7 bits of level, rounded down."""
    return np.asarray((drives - (drives >> 7)) >> 1 | _HIGH, dtype=np.uint8)


def eight_bits(data: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """The drives (…) of bytes with 7 bits of level: 0…127 becomes 0…255."""
    level = data & ~_HIGH
    return np.asarray((level << 1) | (level >> 6), dtype=np.uint8)


def nearest_of_seven_bits(drives: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """The nearest drives (…) that 7 bits of level can express."""
    nearest: NDArray[np.uint8] = _NEAREST[drives]
    return nearest


def in_order(leds: NDArray[np.uint8], order: NDArray[np.intp]) -> NDArray[np.uint8]:
    """`leds[..., order]` of bytes (…, C), contiguous in memory: later steps are faster so."""
    ordered = np.empty((*leds.shape[:-1], order.size), dtype=np.uint8)
    for place, channel in enumerate(order):
        ordered[..., place] = leds[..., channel]
    return ordered


def end_bytes(leds: int) -> int:
    """How many bytes the end frame has for n LEDs: n/2 clock edges or more, at least 4 bytes.

    APA102 datasheet. An SPI port sends whole bytes, so it is n/16 rounded up.
    """
    return max(4, -(-leds // 16))


def is_marked(first: NDArray[np.uint8]) -> NDArray[np.bool_]:
    """bool (…): whether these first bytes (…) of words begin with the three ones of an LED."""
    return first >= _MARK


def unmarked(words: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """A copy of LED words (…, C) without the three ones: the intensity is 0 to 31."""
    leds = words.copy()
    leds[..., 0] &= ~_MARK
    return leds


_NEAREST = eight_bits(np.round(np.arange(256) * 127 / 255).astype(np.uint8))


def frame_bytes(leds: NDArray[np.uint8], chip: Chip) -> NDArray[np.uint8]:
    """All bytes of a frame as they travel on the data line.

    leds : uint8 (…, N, C), drives in wire order, of one frame or a stack of them; a common
    intensity (I) is 0 to 31.

    Returns uint8 (…, B). Most chips take the plain LED bytes. Chips whose order begins with I get
    a start frame, three ones before each intensity, and an end frame. The datasheet draws an end
    frame of ones. foreglow sends zeros: if the chain is longer than the frame, ones would light one
    more LED at full. Chips of 7 bits get each drive without its last bit, below a high bit, and
    then the zero bytes that latch them.

    Raises FrameError for another shape or type, or an intensity above 31.
    """
    if leds.dtype != np.uint8 or leds.ndim < 2 or leds.shape[-1] != chip.bytes_per_led:
        raise FrameError(
            f"LED bytes for {chip.part} are {leds.dtype} of shape {leds.shape}",
            fix=f"give uint8 of shape (LEDs, {chip.bytes_per_led}), order {chip.order}.",
        )
    *stack, count, each = leds.shape
    body = count * each
    if has_seven_bits(chip):
        frame = np.zeros((*stack, body + zero_bytes(count)), dtype=np.uint8)
        frame[..., :body] = seven_bits(leds).reshape(*stack, body)
        return frame
    if not has_end_frame(chip):
        return leds.reshape(*stack, body)
    if leds.size and leds[..., 0].max() > 31:
        intensity = leds[..., 0].max(axis=tuple(range(len(stack))))
        led = int(intensity.argmax())
        raise FrameError(
            f"intensity {intensity[led]} for LED {led}, and {chip.part} has 5 bits for it",
            fix="give 0 to 31.",
        )
    frame = np.zeros((*stack, START_BYTES + body + end_bytes(count)), dtype=np.uint8)
    words = leds.copy()
    words[..., 0] |= _MARK
    frame[..., START_BYTES : START_BYTES + body] = words.reshape(*stack, body)
    return frame


def led_bytes(data: NDArray[np.uint8], chip: Chip) -> NDArray[np.uint8]:
    """The LEDs that bytes from the data line hold: the inverse of `frame_bytes`.

    data : uint8 (B,). Returns uint8 (n, C) in wire order, whole LEDs only. If the chip has a start
    frame, it is skipped, and LEDs are read while their three ones come. So an end frame of ones
    reads as LEDs at full, as it does for a chip further down. LEDs of 7 bits are read from the
    first byte with a high bit to the next byte without one.
    """
    size = chip.bytes_per_led
    if has_seven_bits(chip):
        high = data >= _HIGH
        body = data[int(high.argmax()) if high.any() else data.size :]
        low = body < _HIGH
        body = eight_bits(body[: int(low.argmax()) if low.any() else body.size])
        return body[: body.size - body.size % size].reshape(-1, size)
    if not has_end_frame(chip):
        return data[: data.size - data.size % size].reshape(-1, size)
    body = data[START_BYTES:] if not data[:START_BYTES].any() else data
    words = body[: body.size - body.size % size].reshape(-1, size)
    marked = is_marked(words[:, 0])
    return unmarked(words[: len(words) if marked.all() else int(marked.argmin())])
