"""A source: anything that gives a picture for a display at a time."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

from emulator.arrays import Light, Picture
from emulator.closing import Closing
from emulator.description.canvas import Curve
from emulator.description.display import Display
from emulator.picture.curve import value_to_light
from emulator.picture.fit import How, Region, fit

Source = Callable[[float, Display], ArrayLike]
"""`source(time_s, display)` gives a picture, or raises SourceError when it has none.

A plain function is enough; a source that holds a resource of the system also has `close()`.
"""

Colour = tuple[int, int, int]
"""Red, green and blue, sRGB 0…255."""


class ClosingSource(Closing):
    """A source that may hold other sources, a file, a device or a process.

    Subclass it for a source that must be closed. foreglow calls it with the time of the show in
    seconds and the display; it returns a picture (rows, columns, 3), or raises SourceError.
    """

    @abstractmethod
    def __call__(self, time_s: float, display: Display) -> Picture:
        """The picture (rows, columns, 3) at a time of the show, in seconds. Raises SourceError."""

    def close(self) -> None:
        """Release everything that it holds; a second call does nothing."""


def close_source(source: object) -> None:
    """Close a source, or one bound to a display, if it can be closed."""
    close = getattr(source, "close", None)
    if close is not None:
        close()


def light_of(picture: ArrayLike, curve: Curve = "sRGB") -> Light:
    """A picture as float32 linear light 0…1, of the same shape.

    curve: what code values mean; those of a source's picture are the display's, `canvas.curve`.
    """
    array = np.asarray(picture)
    if array.dtype == np.uint8:
        return value_to_light(array / 255, curve).astype(np.float32)
    return array.astype(np.float32)


def on_wall(
    image: ArrayLike, display: Display, how: How = "crop", region: Region | None = None
) -> Light:
    """An image of any size as a picture of this wall, in the wall's real proportions.

    All arguments and errors: as for `fit`.
    """
    across, down = display.grid.pitches_mm
    return fit(image, display.picture_shape, how, region, aspect=down / across)
