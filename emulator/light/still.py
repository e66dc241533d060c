"""The wall as a still picture, without a screen."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from PIL.PngImagePlugin import PngInfo

from emulator.arrays import Light
from emulator.canvas import meant_light
from emulator.description.display import Display
from emulator.errors import PictureError
from emulator.files import MARK
from emulator.light.figures import figures
from emulator.light.lettering import fitted, text_wide, write
from emulator.light.look import Look
from emulator.light.numbers import led_numbers, wants_dark_ink
from emulator.light.wall import WallView

PAGE = (14, 15, 18)
FRAME = (44, 47, 54)
INK = (214, 214, 206)
DIM_INK = (150, 153, 160)
_LABEL_WIDE = 150  # pixels of a tile in which the first words of its label can be read
_LIGHT, _DARK = (255, 255, 255), (0, 0, 0)


def still(
    display: Display,
    picture: NDArray[np.uint8] | Light,
    pixels_wide: int = 720,
    *,
    numbers: bool = False,
    look: Look | None = None,
) -> Image.Image:
    """RGB picture of the wall, `pixels_wide` across, for a file or a notebook.

    picture: (rows, columns, 3), uint8 code values as for `bench.send`, or the linear light of
    each cell, 1 is full drive (`bench.picture`). numbers: write each LED's number along its line
    on its cell; in small cells only the first of each run. look: distance and light; default: a
    dark room. Raises PictureError if the picture does not fit the display, or if a value is
    negative, infinite or not a number.
    """
    light = picture
    if picture.dtype.kind != "f" or picture.shape[:2] != display.picture_shape[:2]:
        light = meant_light(picture, display)  # raises PictureError if it does not fit
    bad = ~((light >= 0) & np.isfinite(light))
    if bad.any():
        place = tuple(int(i) for i in np.argwhere(bad)[0])
        raise PictureError(
            f"the light of a cell must be 0 or more, but is {light[place]} at {place} and wrong in"
            f" {int(bad.sum())} places",
            fix="np.clip(np.nan_to_num(picture), 0, 1).",
        )
    return _drawn(WallView(display, pixels_wide, look), display, light.astype(np.float32), numbers)


def png(image: Image.Image) -> bytes:
    """The image as the bytes of a PNG file."""
    data = io.BytesIO()
    image.save(data, format="PNG", pnginfo=png_mark())
    return data.getvalue()


def png_mark() -> PngInfo:
    """The text in a PNG that says which program made it (PNG specification, keyword 'Software')."""
    info = PngInfo()
    info.add_text("Software", MARK)
    return info


def _drawn(view: WallView, display: Display, cells_light: Light, numbers: bool) -> Image.Image:
    picture = view.draw(np.asarray(cells_light, dtype=np.float32))
    image = Image.fromarray(picture)  # a copy, since the view uses its array again
    if numbers:
        _write_numbers(image, picture, display)
    return image


def _write_numbers(image: Image.Image, ground: NDArray[np.uint8], display: Display) -> None:
    wide, high = image.width / display.grid.columns, image.height / display.grid.rows
    size, labels = led_numbers(display, wide, high)
    pen = ImageDraw.Draw(image)
    for column, row, text in labels:
        half = text_wide(text, size) / 2 + 2
        x = min(max((column + 0.5) * wide, half), max(image.width - half, half))
        y = (row + 0.5) * high
        dark = bool(wants_dark_ink(ground[int(y), int(x)]))
        ink, halo = (_DARK, _LIGHT) if dark else (_LIGHT, _DARK)
        # The halo keeps strokes readable outside the LED's spot.
        write(pen, x - half + 2, y, text, size, ink, halo)


def contact_sheet(
    display: Display,
    pictures: Sequence[tuple[str, Light]],
    columns: int = 3,
    pixels_wide: int = 1200,
) -> Image.Image:
    """One RGB page, `pixels_wide` across, of labelled tiles in `columns`, row by row.

    pictures: (label, linear light of each cell (rows, columns, 3)). A label too long for its tile
    is cut short with an ellipsis. Raises ValueError without a picture or a column.
    """
    if not pictures or columns < 1:
        raise ValueError("a contact sheet needs at least one picture and one column")
    columns = min(columns, len(pictures))
    view = WallView(display, tile_wide(display, columns, pixels_wide))
    tiles = [(label, _drawn(view, display, light, numbers=False)) for label, light in pictures]
    return page(display, tiles, columns, pixels_wide)


def side_by_side(
    displays: Sequence[tuple[str, Display]],
    pictures: Sequence[Light],
    look: Look,
    pixels_wide: int = 1200,
) -> Image.Image:
    """One RGB page: the same pictures (rows, columns, 3) on displays that differ in their cover.

    displays: (label, display), side by side while their labels can be read, else in rows; then the
    same for the next picture. All have the same white, so that a brighter one looks brighter: that
    of the look or, if it has none, the largest mean luminance of any of them at full white, with
    ambient light. Hot spots may be brighter than that. Raises ValueError without a display.
    """
    if not displays:
        raise ValueError("there is nothing to compare")
    if look.white_cdm2 is None:
        each = [figures(shown, look.distance_m, look.ambient_lx) for _, shown in displays]
        look = replace(look, white_cdm2=max(f.mean_cdm2 + f.ambient_cdm2 for f in each))
    _, first = displays[0]
    columns = min(len(displays), max(pixels_wide // _LABEL_WIDE, 1))
    wide = tile_wide(first, columns, pixels_wide)
    tiles = [
        (label, still(shown, light, wide, look=look))
        for light in pictures
        for label, shown in displays
    ]
    return page(first, tiles, columns, pixels_wide)


def _margin(pixels_wide: int) -> int:
    return max(pixels_wide // 50, 6)


def tile_wide(display: Display, columns: int, pixels_wide: int) -> int:
    """Width of the wall in a tile, in pixels."""
    tile_wide = (pixels_wide - _margin(pixels_wide) * (columns + 1)) // columns
    # A tall display would make a very high page: its tiles are at most as high as wide.
    grid = display.grid
    tall = grid.rows * grid.pitches_mm[1] / (grid.columns * grid.pitches_mm[0])
    return max(round(tile_wide / max(tall, 1.0)), 1)


def page(
    display: Display, tiles: Sequence[tuple[str, Image.Image]], columns: int, pixels_wide: int
) -> Image.Image:
    """Labelled tiles of one size below the name and the facts of the display."""
    margin = _margin(pixels_wide)
    size = min(max(pixels_wide // (columns * 24), 11), 20)
    title = size + 3
    label_high, head_high = round(2.0 * size), round(2.4 * size)
    wide, high = tiles[0][1].size
    tile_wide = max((pixels_wide - margin * (columns + 1)) // columns, wide)
    rows = -(-len(tiles) // columns)
    page = Image.new(
        "RGB",
        (
            tile_wide * columns + margin * (columns + 1),
            margin + head_high + rows * (high + label_high + margin // 2) + margin // 2,
        ),
        PAGE,
    )
    pen = ImageDraw.Draw(page)
    middle = margin + size / 2
    write(pen, margin, middle, display.name, title, INK)
    grid = display.grid
    facts = f"{grid.columns} columns by {grid.rows} rows, {display.leds_in_words}"
    facts_left = margin + text_wide(display.name, title) + size
    facts = fitted(facts, size, page.width - margin - facts_left)
    write(pen, facts_left, middle, facts, size, DIM_INK)
    for number, (label, tile) in enumerate(tiles):
        left = margin + (number % columns) * (tile_wide + margin)
        top = margin + head_high + (number // columns) * (high + label_high + margin // 2)
        page.paste(tile, (left, top))
        # The frame shows where a dark wall ends and the page begins.
        pen.rectangle((left - 1, top - 1, left + wide, top + high), outline=FRAME)
        text = fitted(label, size, tile_wide)
        write(pen, left, top + high + label_high / 2, text, size, INK)
    return page
