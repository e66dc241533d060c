"""What a source is: anything that gives a picture for a display at a time."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from emulator.closing import Closing
from emulator.description.display import Display
from emulator.picture.fit import How, Light, Region, fit
from emulator.picture.srgb import srgb_to_linear

Picture = NDArray[Any]
"""(rows, columns, 3) of the display: uint8 sRGB, or float linear light 0…1."""

Source = Callable[[float, Display], ArrayLike]
"""`source(time_s, display)` gives a picture, or raises SourceError when it has none.

A plain function will do; one that holds something of the system's has `close()` as well.
"""

Colour = tuple[int, int, int]
"""Red, green and blue, sRGB 0…255."""


class ClosingSource(Closing):
    """A source that may hold other sources, a file, a device or a process."""

    @abstractmethod
    def __call__(self, time_s: float, display: Display) -> Picture:
        """The picture at a time of the show, in seconds."""

    def close(self) -> None:
        """Give back what is held; a second call does nothing."""


def close_source(source: object) -> None:
    """Close a source, or one bound to a display, if it can be closed."""
    close = getattr(source, "close", None)
    if close is not None:
        close()


def light_of(picture: ArrayLike) -> Light:
    """A picture as float32 linear light 0…1, of the same shape."""
    array = np.asarray(picture)
    if array.dtype == np.uint8:
        return srgb_to_linear(array / 255).astype(np.float32)
    return array.astype(np.float32)


def on_wall(
    image: ArrayLike, display: Display, how: How = "crop", region: Region | None = None
) -> Light:
    """An image of any size as a picture of this wall, in the wall's real proportions."""
    across, down = display.grid.pitches_mm
    return fit(image, display.picture_shape, how, region, aspect=down / across)
