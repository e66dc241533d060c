"""The wall as a still picture, without a screen."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from emulator.description.display import Display
from emulator.light.lettering import fitted, text_wide, write
from emulator.light.numbers import led_numbers, wants_dark_ink
from emulator.light.wall import WallView

PAGE = (14, 15, 18)
FRAME = (44, 47, 54)
INK = (214, 214, 206)
DIM_INK = (150, 153, 160)
_LIGHT, _DARK = (255, 255, 255), (0, 0, 0)

Light = NDArray[np.float32]


def still(
    display: Display, cells_light: Light, pixels_wide: int, *, numbers: bool = False
) -> Image.Image:
    """RGB picture of the wall, `pixels_wide` across, for the light of each cell.

    cells_light: (rows, columns, 3) linear, 1 is full drive (`bench.picture`). numbers: write
    each LED's number along its line on its cell; in small cells only the first of each run.
    """
    return _drawn(WallView(display, pixels_wide), display, cells_light, numbers)


def _drawn(view: WallView, display: Display, cells_light: Light, numbers: bool) -> Image.Image:
    picture = view.draw(np.asarray(cells_light, dtype=np.float32))
    image = Image.fromarray(picture)  # copies: the view uses its array again
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
        # The halo keeps the strokes readable where they leave the LED's spot.
        write(pen, x - half + 2, y, text, size, ink, halo)


def contact_sheet(
    display: Display,
    pictures: Sequence[tuple[str, Light]],
    columns: int = 3,
    pixels_wide: int = 1200,
) -> Image.Image:
    """One RGB page, `pixels_wide` across, of labelled tiles in `columns`, left to right, down.

    pictures: (label, light of each cell (rows, columns, 3)). A label too long for its tile is
    cut short with an ellipsis. Raises ValueError when there is no picture or no column.
    """
    if not pictures or columns < 1:
        raise ValueError("a contact sheet needs at least one picture and one column")
    columns = min(columns, len(pictures))
    margin = max(pixels_wide // 50, 6)
    size = min(max(pixels_wide // (columns * 24), 11), 20)
    title = size + 3
    label_high, head_high = round(2.0 * size), round(2.4 * size)
    tile_wide = (pixels_wide - margin * (columns + 1)) // columns
    # A tall display would make a page of towers: its tiles are at most as high as wide.
    grid = display.grid
    tall = grid.rows * grid.pitches_mm[1] / (grid.columns * grid.pitches_mm[0])
    view = WallView(display, max(round(tile_wide / max(tall, 1.0)), 1))
    tile_wide = max(tile_wide, view.width)
    rows = -(-len(pictures) // columns)
    page = Image.new(
        "RGB",
        (
            tile_wide * columns + margin * (columns + 1),
            margin + head_high + rows * (view.height + label_high + margin // 2) + margin // 2,
        ),
        PAGE,
    )
    pen = ImageDraw.Draw(page)
    middle = margin + size / 2
    write(pen, margin, middle, display.name, title, INK)
    facts = f"{grid.columns} columns by {grid.rows} rows, {display.leds} LEDs, {display.chip.part}"
    facts_left = margin + text_wide(display.name, title) + size
    facts = fitted(facts, size, page.width - margin - facts_left)
    write(pen, facts_left, middle, facts, size, DIM_INK)
    for number, (label, cells_light) in enumerate(pictures):
        left = margin + (number % columns) * (tile_wide + margin)
        top = margin + head_high + (number // columns) * (view.height + label_high + margin // 2)
        tile = _drawn(view, display, cells_light, numbers=False)
        page.paste(tile, (left, top))
        # The frame shows where a dark wall ends and the page begins.
        pen.rectangle((left - 1, top - 1, left + view.width, top + view.height), outline=FRAME)
        text = fitted(label, size, tile_wide)
        write(pen, left, top + view.height + label_high / 2, text, size, INK)
    return page
