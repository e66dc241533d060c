"""The LEDs of a display by number, in the order of the data: for index maps and their errors."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Protocol, TypeAlias, overload

import numpy as np
from numpy.typing import ArrayLike

from emulator import canvas
from emulator.arrays import Bytes
from emulator.description.display import Display
from emulator.errors import ForeglowError, FrameError
from emulator.strip import Sent

MOST_INTENSITY = 31  # of the chips that take a common intensity: 5 bits

Drives: TypeAlias = tuple[int, ...]


class LedNumberError(ForeglowError, IndexError):
    """There is no LED, or no line, with that number."""


class Sender(Protocol):
    """What sends the LEDs: an output or a bench."""

    def send_frame(self, data: list[Bytes], /) -> Sent:
        """Send the bytes of each line, in wire order."""


class Leds(Sequence[Drives]):
    """The LEDs of a display, to set one by one, in slices or all at once, and then to send.

        leds = Leds(display, out)      # out: an open output, or a bench
        leds[:] = 0                    # all dark
        leds[17] = 255, 120, 0         # LED 17, counted over all lines in the order of the data
        leds[30:60] = colours          # an array (30, 3) of whole numbers
        leds.line(1)[0] = 255          # the first LED of line 1, every channel
        leds.send()

    Values are drives: whole numbers from 0 to 255 in the order R, G, B, then W or I, whatever the
    order on the wire is. LEDs without a cell (hidden LEDs) count too; leave them dark. Values are
    sent unchanged; `[canvas]` (curve, brightness, current limit)
    applies to pictures only. A single number sets every channel except I. Three values on a chip
    with a fourth channel set R, G and B, and put W to 0. I, the common intensity of some clocked
    chips, is 0 to 31. It keeps its value, 31 at first, until four values set it.

    `len`, iteration, slices with steps and negative numbers work as on a list; the length is fixed.
    `leds[17]` is a tuple of ints, `leds[2:5]` a read-only array (3, C) of uint8.

    Raises LedNumberError, which is an IndexError, if there is no such LED, and FrameError for
    values that are not drives or do not fit.
    """

    def __init__(self, display: Display, output: Sender) -> None:
        self.display = display
        self._output = output
        self._all: Bytes = np.zeros((display.leds, len(display.chip.channels)), np.uint8)
        if "I" in display.chip.channels:
            self._all[:, 3] = MOST_INTENSITY
        self._mine = self._all

    def line(self, number: int) -> Leds:
        """The LEDs of one line, numbered from 0 on it.

        They share their values with these LEDs, and `send` sends all lines. Raises LedNumberError.
        """
        lengths, starts = self.display.wiring.line_lengths, self.display.wiring.line_starts
        if not 0 <= number < len(lengths):
            raise LedNumberError(
                f"'{self.display.name}' has no line {number}: it has lines 0 to {len(lengths) - 1}",
                fix="use the number of one of its lines.",
            )
        part = object.__new__(Leds)
        part.display, part._output, part._all = self.display, self._output, self._all
        part._mine = self._all[starts[number] : starts[number] + lengths[number]]
        return part

    def send(self) -> Sent:
        """Send all lines as one frame; raises what `send_frame` of the output raises."""
        return self._output.send_frame(canvas.to_wire(self._all, self.display))

    @property
    def drives(self) -> Bytes:
        """The present drives, uint8 (N, C), read-only: R, G, B, then W or I (chip.channels)."""
        return self[:]

    def __len__(self) -> int:
        return len(self._mine)

    @overload  # type: ignore[override]  # a slice is an array, not another Sequence
    def __getitem__(self, number: int) -> Drives: ...

    @overload
    def __getitem__(self, number: slice) -> Bytes: ...

    def __getitem__(self, number: int | slice) -> Any:
        if isinstance(number, slice):
            part = self._mine[number].view()
            part.flags.writeable = False
            return part
        return tuple(self._mine[self._place(number)].tolist())

    def __setitem__(self, number: int | slice, value: ArrayLike) -> None:
        place = number if isinstance(number, slice) else self._place(number)
        target = self._mine[place]
        drives = self._judged(value, target, number)
        if drives.ndim == 0:
            target[..., : 3 + self.display.chip.channels.endswith("W")] = drives
            return
        width = drives.shape[-1]
        target[..., :width] = drives
        if width == 3 and self.display.chip.channels.endswith("W"):
            target[..., 3] = 0

    def __repr__(self) -> str:
        return f"<{len(self)} LEDs of '{self.display.name}', {self.display.chip.channels}>"

    def _place(self, number: int) -> int:
        try:
            return range(len(self))[number]
        except (IndexError, TypeError):
            raise LedNumberError(
                f"there is no LED {number}: there are {len(self)} here, from 0 to {len(self) - 1}",
                fix="check how your index map counts the LEDs.",
            ) from None

    def _judged(self, value: ArrayLike, target: Bytes, number: object) -> Bytes:
        """The value as an array that fits the target (…, C), whole numbers in range."""
        channels = self.display.chip.channels
        fix = (
            f"give whole numbers from 0 to 255, one for all channels or {channels[:3]}"
            + (f" or {channels}" if len(channels) > 3 else "")
            + " for each LED."
        )
        if isinstance(value, bytes):  # as bytearray: numpy would take it for text
            value = bytearray(value)
        leds = _named(number)
        try:
            array = np.asarray(value)
        except ValueError:
            array = np.empty(0, object)
        if array.dtype.kind not in "iu":
            shown = "float" if array.dtype.kind == "f" else array.dtype
            raise FrameError(f"drives of kind {shown} for {leds}", fix=fix)
        widths = {3, len(channels)}
        fits = array.ndim == 0 or (
            array.shape[-1] in widths and (array.ndim == 1 or array.shape[:-1] == target.shape[:-1])
        )
        if not fits:
            raise FrameError(
                f"drives of shape {array.shape} for LEDs of shape {target.shape}", fix=fix
            )
        if array.size and not 0 <= array.min() <= array.max() <= 255:
            bad = array.min() if array.min() < 0 else array.max()
            raise FrameError(f"a drive of {bad} for {leds}", fix=fix)
        if array.ndim and array.shape[-1] == 4 and channels.endswith("I") and array.size:
            most = array[..., 3].max()
            if most > MOST_INTENSITY:
                raise FrameError(
                    f"an intensity of {most} for {leds}",
                    fix=f"give 0 to {MOST_INTENSITY}: {self.display.chip.part} has 5 bits.",
                )
        return array


def _named(number: object) -> str:
    """'LED 3', 'LEDs [:]', 'LEDs [9::-3]': as the program writes it."""
    if not isinstance(number, slice):
        return f"LED {number}"
    parts = (number.start, number.stop, number.step)[: 2 + (number.step is not None)]
    return f"LEDs [{':'.join('' if part is None else str(part) for part in parts)}]"
