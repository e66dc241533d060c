"""All steps for one display, with the state from frame to frame."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from emulator.arrays import Bytes
from emulator.canvas.drives import to_drives
from emulator.canvas.limiter import LimiterState, limit_smoothly
from emulator.canvas.wire import to_wire
from emulator.description.display import Display
from emulator.errors import PictureError
from emulator.picture.check import check_picture


class Canvas:
    """Turns pictures into bytes; keeps the limiter's state and the number of the next frame."""

    def __init__(self, display: Display) -> None:
        self._display = display
        self._limiter = LimiterState()
        self._frame = 0

    def wire(self, picture: ArrayLike, now_ns: int) -> list[Bytes]:
        """Bytes, uint8 (B,), of each line for one picture (rows, columns, 3), sent at `now_ns`.

        Dims it if it would draw more than the display file's `limit_a`. Raises PictureError.
        """
        display = self._display
        single = check_picture(picture, display)
        if single.ndim != 3:
            raise PictureError("send takes one picture, not a stack", fix="loop over the stack.")
        drives = to_drives(single, display, self._frame)
        self._frame += 1
        if display.power.limit_a is not None:
            times_ns = np.array([now_ns])
            stack, self._limiter = limit_smoothly(
                drives[None], display.chip, display.power.limit_a, times_ns, self._limiter
            )
            drives = stack[0]
        return to_wire(drives, display)
