"""Drives pictures through the code under test into the emulated wiring, and keeps what is seen."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from emulator.bench import Bench, Sent, cell_light, led_light
from emulator.canvas import full_light, meant_light
from emulator.description.display import Display
from emulator.errors import FrameError, SubjectError
from harness.coded import read_codes
from harness.measure.measured import Measured, measured, pictures_of
from harness.patterns import PATTERNS, Pattern
from harness.subject import Picture, Subject

Cells = NDArray[np.float32]

_MOST_LAG = 4
_MOST_TIMES = 8  # the bytes a frame may hold; more would only cost time and memory


@dataclass(frozen=True)
class Seen:
    """What the display did with T pictures.

    meant: (T, N, 3) uint8 sRGB, the colour of each LED's own cell in the picture.
    light: (T, N, 3) float32 linear light each LED showed, in shares of what the display file's
    [canvas] makes of full white: 1 is as it should be, whatever white balance and brightness.
    drives: (T, N, C) uint8, the same as drives. sent: what happened on the wire.
    """

    meant: NDArray[np.uint8]
    light: NDArray[np.float32]
    drives: NDArray[np.uint8]
    sent: tuple[Sent, ...]


class Trial:
    """One display, one piece of code under test, one emulated bench on simulated time.

    Every frame travels as a waveform: it is turned into edges and decoded as the chips would.
    """

    def __init__(self, display: Display, subject: Subject) -> None:
        self.display = display
        self.subject = subject
        self.bench = Bench(display, waveform=True, keep=1)

    def show(self, pictures: Iterable[Picture]) -> Seen:
        """Send pictures (rows, columns, 3) one after the other. Raises SubjectError."""
        meant, drives, sent = [], [], []
        for picture in pictures:
            meant.append(picture.reshape(-1, 3)[self.display.wiring.cell])
            for _ in range(1 + self.lag):
                happened = self._send(picture)
            sent.append(happened)
            drives.append(self.bench.drives)
        stack = np.stack(drives)
        light = led_light(stack, self.display.chip.channels)
        light /= full_light(self.display).astype(np.float32)
        return Seen(np.stack(meant), light, stack, tuple(sent))

    @cached_property
    def coded(self) -> Seen:
        """The coded pattern, from which the map is read back."""
        return self.show_pattern(PATTERNS["coded"])

    @cached_property
    def measured(self) -> Measured:
        """Levels and colours, at the cells that the LEDs show: those read back from the code.

        Where code spoils the levels so far that they cannot be read, those of the wiring.
        """
        light = self.coded.light.sum(axis=-1)
        read = (read_codes(values, self.display.gap) for values in (light, light.max() - light))
        sources = (*read, self.display.wiring.cell)
        return measured(self.display, self.show(pictures_of(self.display)).drives, sources)

    @cached_property
    def lag(self) -> int:
        """Frames by which the code under test shows each picture late; 0 is as it should be.

        `show` makes up for it, by sending each picture so many times more.
        """
        dark = np.zeros(self.display.picture_shape, dtype=np.uint8)
        for _ in range(_MOST_LAG):
            self._send(dark)
        for frames in range(_MOST_LAG):
            self._send(np.full_like(dark, 255))
            if self.bench.light.any():
                return frames
        return 0

    def _send(self, picture: Picture) -> Sent:
        try:
            lines = self.bench.split(self.subject.to_wire(picture.copy()))
        except FrameError as error:
            raise SubjectError(f"{self.subject.name}: {error}") from error
        sent = sum(line.size for line in lines)
        most = _MOST_TIMES * 4 * self.display.leds + 4096
        if sent > most:
            raise SubjectError(
                f"{self.subject.name}: {sent} bytes a frame for {self.display.leds} LEDs\n"
                f"  To mend: send {self.display.chip.bytes_per_led} bytes an LED."
            )
        return self.bench.send_frame(lines)

    def compare(self, picture: Picture) -> tuple[Cells, Cells]:
        """What a picture means, and what the display shows: (rows, columns, 3) linear light."""
        shares = self.show([picture]).light[0]
        shown = shares * full_light(self.display).astype(np.float32)
        return meant_light(picture, self.display), cell_light(shown, self.display)

    def show_pattern(self, pattern: Pattern, every: int = 1) -> Seen:
        """Send a pattern's steps, or every n-th of them."""
        steps = range(0, pattern.steps(self.display), every)
        return self.show(pattern.draw(self.display, step) for step in steps)
