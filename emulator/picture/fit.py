"""Resizes a picture of any size to the wall: each cell gets the mean of its area.

The mean is of light, not of code values: half black and half white pixels give half the light. A
pixel across several cells counts in each by its share (a box filter, also called area resampling).
There is no sharpening and no ringing, and the total light stays the same.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import pairwise
from math import ceil, floor
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

from emulator.arrays import Light
from emulator.errors import OutOfRangeError, PictureError, UnknownNameError
from emulator.picture.srgb import srgb_to_linear

How = Literal["crop", "whole", "stretch"]
Region = tuple[float, float, float, float]

_LEAST_SIDE = 1e-6  # of the image: a narrower region would be a line
_LIGHT_OF_SRGB: Light = srgb_to_linear(np.arange(256) / 255).astype(np.float32)


def fit(
    image: ArrayLike,
    shape: tuple[int, ...],
    how: How = "crop",
    region: Region | None = None,
    *,
    aspect: float = 1.0,
) -> Light:
    """The image as a picture (rows, columns, 3) float32 linear light 0…1.

    image: (h, w, 3), or (h, w) grey; uint8 sRGB, or float linear light 0…1.
    shape: (rows, columns, …), as Display.picture_shape.
    how: 'crop' fills the wall and cuts off the rest equally on both sides; 'whole' shows all of
    it with dark bars; 'stretch' ignores proportions.
    region: (left, top, width, height) of the part to show, as fractions 0…1 of the image.
    aspect: height of a cell over its width (row pitch / pitch); pixels are square.

    Raises PictureError if the array is not an image or the shape is not that of a wall,
    OutOfRangeError for a region outside the image, UnknownNameError for another `how`.
    """
    array = _check_image(image)
    rows, columns = _check_shape(shape)
    height, width, colours = array.shape
    left, top, wide, high = _check_region(region)
    across = (left * width, wide * width)
    down = (top * height, high * height)
    if how not in get_args(How):
        raise UnknownNameError("way to fit", str(how), get_args(How))
    if not 0 < aspect < np.inf:
        raise OutOfRangeError(
            f"the cells cannot have an aspect of {aspect}", fix="give height / width, above 0."
        )
    columns_of, rows_of = across, down
    if how != "stretch":
        sides = (across[1] / columns, down[1] / (rows * aspect))
        side = min(sides) if how == "crop" else max(sides)  # pixels across one cell
        columns_of = _centred(across, side * columns)
        rows_of = _centred(down, side * rows * aspect)
    bands = _bands(columns, width, columns_of, across)
    begin, end = bands[0][0], bands[-1][0] + bands[-1][1].size  # skip the rest
    tall = np.empty((end - begin, rows, colours), dtype=np.float32)
    for row, (first, weights) in enumerate(_bands(rows, height, rows_of, down)):
        band = array[first : first + weights.size, begin:end]
        light = _LIGHT_OF_SRGB[band] if band.dtype == np.uint8 else band.astype(np.float32)
        flat = light.reshape(weights.size, (end - begin) * colours)
        tall[:, row] = (weights @ flat).reshape(end - begin, colours)
    picture = np.empty((rows, columns, 3), dtype=np.float32)
    for column, (first, weights) in enumerate(bands):
        flat = tall[first - begin :][: weights.size].reshape(weights.size, rows * colours)
        picture[:, column] = (weights @ flat).reshape(rows, colours)
    return picture.clip(0, 1, out=picture)


def _centred(span: tuple[float, float], length: float) -> tuple[float, float]:
    """(start, length) of a stretch with the same middle as `span`."""
    return span[0] + (span[1] - length) / 2, length


@lru_cache(maxsize=16)
def _bands(
    cells: int, pixels: int, span: tuple[float, float], lit: tuple[float, float]
) -> tuple[tuple[int, Light], ...]:
    """For each cell the first pixel that it covers, and the share of each pixel from there on.

    A cell covers few rows, and few columns, of a large image: a table of all cells and all
    pixels would be far larger than the image.

    span: (start, length) in pixels of the stretch that the cells divide. lit: the same for the
    shown stretch of the image; cells are dark outside it.
    """
    low, high = max(lit[0], 0.0), min(lit[0] + lit[1], float(pixels))
    edges = (span[0] + span[1] * np.arange(cells + 1) / cells).clip(low, high).tolist()
    bands = []
    for begin, end in pairwise(edges):
        pixel = np.arange(floor(begin), ceil(end))
        covered = np.minimum(pixel + 1, end) - np.maximum(pixel, begin)
        weights: Light = (covered * (cells / span[1])).astype(np.float32)
        weights.flags.writeable = False  # the cache keeps it for the next image
        bands.append((floor(begin), weights))
    return tuple(bands)


def _check_shape(shape: tuple[int, ...]) -> tuple[int, int]:
    rows, columns = (*shape[:2], 0, 0)[:2]
    if rows < 1 or columns < 1:
        raise PictureError(
            f"a wall of shape {tuple(shape)}",
            fix="give (rows, columns), 1 or more of each, as display.picture_shape.",
        )
    return rows, columns


def _check_region(region: Region | None) -> Region:
    if region is None:
        return 0.0, 0.0, 1.0, 1.0
    if len(region) != 4:
        raise OutOfRangeError(
            f"a region of {len(region)} numbers: {tuple(region)}",
            fix="give four, (left, top, width, height), as fractions of the image.",
        )
    left, top, wide, high = region
    inside = (
        left >= 0
        and top >= 0
        and wide >= _LEAST_SIDE
        and high >= _LEAST_SIDE
        and left + wide <= 1 + 1e-9  # rounding can make 0.9 + 0.1 slightly more than 1
        and top + high <= 1 + 1e-9
    )
    if not inside:
        raise OutOfRangeError(
            f"a region of (left, top, width, height) = {(left, top, wide, high)}",
            fix="give fractions of the image from 0 to 1: left + width and top + height"
            " at most 1, width and height above 0.",
        )
    return left, top, wide, high


def _check_image(image: ArrayLike) -> NDArray[np.generic]:
    """The image as (h, w, 1) or (h, w, 3). Raises PictureError."""
    try:
        array = np.asarray(image)
    except ValueError:  # lists of different lengths
        array = np.empty(0)
    if array.ndim == 2:
        array = array[..., None]
    if array.ndim != 3 or array.shape[2] not in (1, 3) or 0 in array.shape:
        hint = " Drop the fourth channel: image[..., :3]." if array.shape[-1:] == (4,) else ""
        raise PictureError(
            f"an image of shape {array.shape}",
            fix=f"give (height, width, 3), or (height, width) for grey.{hint}",
        )
    if array.dtype == np.uint8:
        return array
    if array.dtype.kind != "f":
        raise PictureError(
            f"an image of dtype {array.dtype}",
            fix="give uint8 (sRGB, 0 to 255) or a float dtype (linear light, 0 to 1).",
        )
    if not ((array >= 0) & (array <= 1)).all():  # NaN fails both
        raise PictureError(
            f"a float image must hold linear light from 0 to 1, but goes from {array.min()} to"
            f" {array.max()}",
            fix="np.clip(np.nan_to_num(image), 0, 1), or divide by 255 first.",
        )
    return array
