"""Three observers of a wall: exact drives, an eye, a camera. What each sees other than planned.

A difference is a number of 64 bits for each LED and picture, 0 where the observer sees what they
should. A signature is the sum of differences over LEDs and pictures, each times a random number. It
is 0 where nothing differs. Two walls that differ share one with a probability below 2^-50, so equal
signatures are taken for equal observations, and no frames are kept.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bools, Bytes, Ints, Light
from emulator.canvas import limit_current, to_drives
from emulator.description.display import Display
from emulator.signal.framing import in_order
from harness.campaign.camera import Camera
from harness.campaign.eye import LIT, Eye
from harness.campaign.facts import Patched, hashes

OBSERVERS = ("exact", "eye", "camera")
Differences = dict[str, NDArray[np.uint64]]  # by observer

# Of a stretch of a line: cells that flicker, or that stay dark in every picture that lights them.
FLICKERS, DARK_ALWAYS = 1, 2

_CHANNELS = np.array([1, 257, 65_537, 16_777_259], dtype=np.uint64)  # no sum of four cancels out


@dataclass(frozen=True, eq=False)
class Shown:
    """What U LEDs show of T pictures.

    drives: (T, U, C). light: XYZ (T, U, 3). all_on: (U,) or (T, U) luminance in full white. patch:
    (U,) as in LedFacts.
    """

    drives: Bytes
    light: Light
    all_on: Light
    patch: Ints


class Watch:
    """The observers of a display. patches: all that its walls have."""

    def __init__(self, display: Display, patches: Sequence[Patched]) -> None:
        self.eye = Eye(display, patches)
        white = np.full((1, *display.picture_shape), 255, dtype=np.uint8)
        drives = sent_drives(white, display)
        self.white_data = data_of(drives, display)
        self.all_on: Light = self.eye.light(drives)[0, :, 1]
        self._camera = Camera(display.wiring.hidden, self.all_on)
        self._line = np.repeat(
            np.arange(len(display.wiring.line_lengths)), display.wiring.line_lengths
        )
        self._led = display.wiring.led

    def differences(self, planned: Shown, shown: Shown, position: Ints) -> Differences:
        """(T, U) of each observer. position: (U,) of the LEDs."""
        apart = shown.drives.astype(np.uint64) - planned.drives
        seen = self.eye.symbols(planned.light, shown.light, position, shown.patch)
        read = self._camera.differences(planned.light, shown.light, shown.all_on, position)
        return {
            "exact": (apart * _CHANNELS[: apart.shape[2]]).sum(axis=2, dtype=np.uint64),
            "eye": seen.astype(np.uint64),
            "camera": read.astype(np.uint64),
        }

    def planned(self, drives: Bytes) -> Shown:
        """The wall as planned, with drives (T, N, C)."""
        none = np.zeros(drives.shape[1], dtype=np.int64)
        return Shown(drives, self.eye.light(drives), self.all_on, none)

    def stretches(self, cells: Bools, how: int) -> np.uint64:
        """A signature of LEDs (N,) whose effect comes and goes.

        Nobody can tell when, nor each cell apart; but from where to where on a line it is.
        """
        rows = []
        for line in np.unique(self._line[cells]).tolist():
            there = self._led[cells & (self._line == line)]
            rows.append([line, int(there.min()), int(there.max()), how])
        each = hashes(np.array(rows, dtype=np.int64).reshape(-1, 4))
        return np.uint64(each.sum(dtype=np.uint64))


def went_dark(planned: Shown, shown: Shown) -> Bools:
    """(T, U) whether an LED that should be lit is not."""
    return np.asarray((planned.light[..., 1] >= LIT) & (shown.light[..., 1] < LIT))


def sent_drives(pictures: Bytes, display: Display) -> Bytes:
    """Drives (T, N, C) of pictures (T, rows, columns, 3), under the limit of the display file."""
    drives = to_drives(pictures, display)
    if display.power.limit_a is not None:
        drives = limit_current(drives, display.chip, display.power.limit_a)
    return drives


def data_of(drives: Bytes, display: Display) -> Bytes:
    """(T, B) the LED bytes of all lines in a row, without framing, of drives (T, N, C)."""
    return in_order(drives, display.chip.to_wire).reshape(len(drives), -1)
