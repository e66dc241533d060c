"""What a mistake does to a picture, or to a map, in the process of the tests.

A Change is plain data, which goes from `foreglow mutate` to the tests in a file.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np

from emulator.arrays import Ints, Picture
from emulator.description.canvas import Curve
from emulator.picture.curve import light_to_value, value_to_light
from harness.mistakes.levels import LEVELS
from harness.mistakes.moments import MOMENTS

BLACK, WHITE = -1, -2  # in `source`: what a cell shows instead of another cell
_NO_CELL = -1  # in a map: an LED without a cell

PictureChange: TypeAlias = Callable[[Picture], Picture]


@dataclass(frozen=True)
class Change:
    """One mistake as data, or none: the code as it is.

    source: of each cell, row by row, the cell that is shown in its place; BLACK or WHITE. channels:
    of each colour, the one that is shown instead. levels, moment: names in LEVELS and MOMENTS.
    """

    source: tuple[int, ...] = ()
    channels: tuple[int, ...] = ()
    levels: str = ""
    moment: str = ""

    def of_pictures(self, curve: Curve, frame_rate: float) -> PictureChange:
        """The change to the picture that code is given, which then shows what wrong code shows.

        Made once for a run, since a mistake in time remembers pictures.
        """
        if self.source:
            source = np.array(self.source)
            return lambda picture: _moved(picture, source)
        if self.channels:
            order = list(self.channels)
            return lambda picture: picture[..., order]
        if self.levels:
            return lambda picture: _levels(picture, self.levels, curve)
        if self.moment:
            return MOMENTS[self.moment](frame_rate)
        return lambda picture: picture

    def of_map(self, value: Any, columns: int) -> Any:
        """A map, as `cells_of` takes it, with the mistake: of the same type and form.

        A map without -1 cannot leave an LED dark: such an LED keeps its cell.
        """
        if not self.source:
            return value
        given = np.asarray(value)
        cells = cells_of(value, columns)
        source, inside = np.array(self.source), (cells >= 0) & (cells < len(self.source))
        moved = np.where(inside, source[np.where(inside, cells, 0)], cells)
        dark = _NO_CELL if has_dark(cells) else cells
        moved = np.where(inside & (moved < 0), dark, moved)
        if given.ndim == 2:
            pairs = np.stack([moved % columns, moved // columns], axis=1)
            moved = np.where(moved[:, None] < 0, _NO_CELL, pairs)
        return _in_form(moved.astype(given.dtype), value)


def cells_of(value: Any, columns: int) -> Ints:
    """The cell of each LED (N,) of a map: whole numbers (N,), or (N, 2) of columns and rows.

    An LED without a cell has a number below 0. Raises ValueError for what is not such a map.
    """
    try:
        cells = np.asarray(value)
    except ValueError:  # rows of unequal length
        cells = np.empty(0)
    if cells.dtype.kind not in "iu" or cells.ndim not in (1, 2) or not cells.size:
        raise ValueError(f"{type(value).__name__} is not a map")
    if cells.ndim == 2 and cells.shape[1] != 2:
        raise ValueError(f"an array of shape {cells.shape} is not a map")
    cells = cells.astype(np.int64)
    if cells.ndim == 1:
        return cells
    column, row = cells.T
    return np.where((column < 0) | (row < 0), _NO_CELL, row * columns + column)


def has_dark(cells: Ints) -> bool:
    """Whether a map (N,) has LEDs without a cell."""
    return bool((cells < 0).any())


def _in_form(cells: Ints, like: Any) -> Any:
    """An array (N,) or (N, 2) as the type that a map had: array, list or tuple."""
    if isinstance(like, np.ndarray):
        return cells
    rows = cells.tolist()
    if cells.ndim == 2:
        rows = [type(like[0])(row) if isinstance(like[0], (list, tuple)) else row for row in rows]
    return tuple(rows) if isinstance(like, tuple) else rows


def _moved(picture: Picture, source: Ints) -> Picture:
    cells = picture.reshape(-1, 3)
    moved = cells[np.maximum(source, 0)]
    moved[source == BLACK] = 0
    moved[source == WHITE] = 255 if picture.dtype.kind in "ui" else 1
    return moved.reshape(picture.shape)


def _levels(picture: Picture, name: str, curve: Curve) -> Picture:
    """A picture with a mistake of LEVELS: values of a uint8 picture, or light of a float one."""
    mistake = LEVELS[name]
    if picture.dtype.kind in "ui":
        wrong = mistake.apply(picture.astype(float), curve)
        return np.clip(np.round(wrong), 0, 255).astype(picture.dtype)
    wrong = mistake.apply(255 * light_to_value(picture, curve), curve)
    return value_to_light(np.clip(wrong, 0, 255) / 255, curve).astype(picture.dtype)
