"""Checks whether an array is a picture for a display, and explains why not."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from emulator.description.display import Display
from emulator.errors import PictureError


def check_picture(picture: ArrayLike, display: Display) -> NDArray[Any]:
    """The picture as an array (…, rows, columns, 3) of uint8 (sRGB) or floats (linear, 0…1).

    Raises PictureError, which names the array, what the display needs and how to fix it.
    """
    try:
        array = np.asarray(picture)
    except ValueError:  # lists of different lengths
        array = np.empty(0)
    shape = display.picture_shape
    if array.shape[-3:] != shape or array.ndim not in (3, 4):
        hint = ""
        if array.shape[-3:] == (shape[1], shape[0], 3):
            hint = " Columns and rows are exchanged: the first axis is the rows."
        elif array.shape[-2:] == shape[:2]:
            hint = " The colour axis is missing: stack red, green and blue last."
        raise PictureError(
            f"a picture of shape {array.shape} does not fit '{display.name}':"
            f" it needs (rows, columns, 3) = {shape}",
            fix=f"resize it to that shape.{hint}",
        )
    if array.dtype == np.uint8:
        return array
    if array.dtype.kind != "f":
        fix = "picture.astype(np.uint8), if its values are 0 to 255"
        if array.dtype == np.bool_:
            fix = "picture.astype(np.uint8) * 255"
        raise PictureError(
            f"a picture of dtype {array.dtype}: it needs uint8 (sRGB, 0 to 255) or a float dtype"
            f" (linear light, 0 to 1)",
            fix=f"{fix}.",
        )
    bad = ~((array >= 0) & (array <= 1))  # NaN fails both
    if bad.any():
        place = tuple(int(i) for i in np.argwhere(bad)[0])
        raise PictureError(
            f"a float picture must hold linear light from 0 to 1, but is {array[place]} at"
            f" {place} and wrong in {int(bad.sum())} places",
            fix="np.clip(np.nan_to_num(picture), 0, 1), or divide by 255 first.",
        )
    return array
