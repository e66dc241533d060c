"""The wall seen from the front, as luminance and as a screen picture."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Light
from emulator.description.display import Display
from emulator.light import eye
from emulator.light.cover import Spot, axes
from emulator.light.look import Look
from emulator.light.operator import Operator, Take, points_a_pixel
from emulator.light.patches import Patches
from emulator.light.primaries import chip_primaries
from emulator.light.screen import into_gamut, screen_from_drive

# sRGB code of linear light x, and a half, to be cut off at the point: r + _BOW/r with
# r = √y + _SHIFT and y = _GAIN² · (x + _LIFT), which the matrix products give. A minimax fit to
# IEC 61966-2-1 over 0…1, off by at most 0.67 of a code value, 0.3 at the ends: after rounding 0 and
# 1 are exact, and all else is at most one off. One root and one division for each value are faster
# than a table, or than two roots.
_LIFT = 0.0022329288399134018
_GAIN = 218.51006972689567
_SHIFT = np.float32(0.23296126934430697 * _GAIN)
_BOW = np.float32(-17.101612141956842 * _GAIN)
_RANGE = (np.float32(_GAIN**2 * _LIFT), np.float32(_GAIN**2 * (1 + _LIFT)))  # of y for x = 0…1

_CELLS_AT_ONCE = 1024  # so many are brought into the screen's gamut, to keep arrays small


MOST_HIGH = 8192  # pixels: an upright strip of 300 LEDs would otherwise take gigabytes


class Part(NamedTuple):
    """A part of the picture of a wall: from its left and top edge, in pixels.

    whole: (width, height) of the whole picture, in which a cell may be smaller than a pixel.
    """

    whole: tuple[int, int]
    left: int
    top: int
    width: int
    height: int

    @property
    def slices(self) -> tuple[slice, slice]:
        """Columns and rows of pixels."""
        return slice(self.left, self.left + self.width), slice(self.top, self.top + self.height)


class WallView:
    """Draws the cells of a display at a size in pixels; make it once, use it for every frame.

    The picture keeps the wall's proportions: its width is `pixels_wide`, its height follows from
    the pitch and is at most MOST_HIGH (a taller wall is drawn narrower). A cell has at least one
    pixel each way. With a `part` it draws that part of a picture of any size. A pixel shows the
    mean of its own area, which a Gaussian of the same variance approximates, or, if it is larger
    than a cell, several of them. `peak_cdm2` is the luminance of the brightest spot when every LED
    is at full white (only W for an RGBW chip), without ambient light.
    """

    def __init__(
        self,
        display: Display,
        pixels_wide: int,
        look: Look | None = None,
        part: Part | None = None,
    ) -> None:
        look = look or Look()
        grid = display.grid
        part = part or _all_of(display, pixels_wide)
        self.scale = part.whole[0] / (grid.columns * grid.pitches_mm[0])  # pixels per mm
        self.columns, self.rows = grid.columns, grid.rows
        self._cover = display.cover
        distance_m = display.view.distance_m if look.distance_m is None else look.distance_m
        cells = grid.columns, grid.rows
        points = points_a_pixel(grid.columns, part.whole[0])
        pixel_mm = 1 / (self.scale * points) / math.sqrt(12)
        blur_mm = math.hypot(eye.blur_mm(distance_m), pixel_mm)
        spot = Spot.before(display, blur_mm)
        whole = (part.width, part.height) == part.whole
        middle = _middle(part.whole[0], grid.columns), _middle(part.whole[1], grid.rows)
        self._operator = Operator(
            spot, axes(display), cells, part.whole, part.slices if whole else middle
        )
        self._brightest = self._operator.brightest()
        self._patches = Patches.of(display, blur_mm, part.whole, part.slices)
        self._primaries = primaries = chip_primaries(display.chip)
        self._to_screen = screen_from_drive(primaries) if look.led_colours else None
        self._channel_share = (primaries.xyz[:, 1] / primaries.intensity_cd).astype(np.float32)
        # The luminance of full white for which the operator gives 1.
        self._unit_cdm2 = eye.luminance_cdm2(primaries.intensity_cd, display.cover.transmission)
        self.peak_cdm2 = self._brightest * self._unit_cdm2
        self._in_gamut = np.empty((self.rows, self.columns, 3), dtype=np.float32)
        self.show(part)
        self.expose(look.ambient_lx, look.white_cdm2)

    def show(self, part: Part) -> None:
        """Draw this part of the same whole from now on; what is drawn again costs little."""
        self.part, self.width, self.height = part, part.width, part.height
        self._shown = np.empty((self.height, self.width, 3), dtype=np.uint8)
        self._operator.show(*part.slices)
        if self._patches is not None:
            self._patches.show(*part.slices)

    def expose(self, ambient_lx: float, white_cdm2: float | None = None) -> None:
        """Set ambient light and the luminance shown as white, from the next picture on.

        Both as in `Look`; fast enough for every frame.
        """
        around = eye.ambient_cdm2(self._cover, ambient_lx)
        white = self.peak_cdm2 + around if white_cdm2 is None else white_cdm2
        self._light_gain, self._light_plus = self._unit_cdm2 / white, around / white
        self._tone()

    def _tone(self) -> None:
        square = _GAIN * _GAIN
        plus = square * (self._light_plus + _LIFT)
        self._expose(square * self._light_gain, plus)

    def _expose(self, gain: float, plus: float) -> None:
        self._gain = gain
        self._operator.expose(gain, plus)

    def _blocks_of(self, cells: Light, take: Take) -> None:
        """As Operator.blocks_of, with what faults of the light change."""
        if self._patches is not None:
            cells, extra = self._patches.apart(cells, self._gain)
            take = _added(take, extra)
        self._operator.blocks_of(cells, take)

    def draw(
        self, cells: NDArray[np.float32], onto: NDArray[np.uint8] | None = None
    ) -> NDArray[np.uint8]:
        """sRGB picture, uint8 (height, width, 3), of the light of each cell (rows, columns, 3).

        Light is linear, 0 or more, 1 for a channel at full drive; for an RGBW chip (rows, columns,
        4) is possible, too. A colour brighter than the screen can show is dimmed as a whole, so
        that it keeps its hue. onto: the array to draw into; without it the next call uses the same
        array again: copy it to keep it.
        """
        shown = self._shown if onto is None else onto
        cells = self._on_screen(cells)
        most = float(cells.max()) * self._brightest * self._light_gain + self._light_plus

        def take(rows: slice, light: Light, spare: Light) -> None:
            if most > 1 + 1e-6 or self._patches is not None:
                _hold_hue(light, spare)
            _to_codes(light, spare)
            np.copyto(shown[rows], light, casting="unsafe")  # cutting off rounds them

        self._blocks_of(cells, take)
        return shown

    def luminance(self, cells: NDArray[np.float32]) -> Light:
        """Luminance (height, width) in cd/m² of the light of each cell (rows, columns, 3 or 4).

        Without ambient light.
        """
        share = self._primaries.by_channel(cells) @ self._channel_share
        return self._most_cdm2(np.repeat(share[..., None], 3, axis=-1))

    def strongest(self, cells: NDArray[np.float32]) -> Light:
        """The screen's strongest channel (height, width) for cells (rows, columns, 3 or 4).

        As the luminance in cd/m² of a white with the same value in that channel: above
        `white_cdm2`, the pixel is brighter than the screen can show. Without ambient light.
        """
        return self._most_cdm2(self._on_screen(cells))

    def _on_screen(self, cells: Light) -> Light:
        """Linear light of the screen's channels (rows, columns, 3), 1 at the wall's full white.

        The next call may use the same array again.
        """
        if self._to_screen is not None:
            some = max(_CELLS_AT_ONCE // self.columns, 1)
            for start in range(0, self.rows, some):
                drives = self._primaries.by_channel(cells[start : start + some])
                self._in_gamut[start : start + some] = into_gamut(drives @ self._to_screen)
            return self._in_gamut
        return cells[..., :3] + cells[..., 3:] if cells.shape[-1] == 4 else cells

    def _most_cdm2(self, cells: Light) -> Light:
        """The largest of three channels (height, width) of cells, in cd/m²; 1 is full white."""
        picture = np.empty((self.height, self.width), dtype=np.float32)
        self._expose(self._unit_cdm2, 0.0)
        self._blocks_of(
            cells, lambda rows, light, spare: np.copyto(picture[rows], light.max(axis=-1))
        )
        self._tone()
        return picture

    def cell_at(self, x: int, y: int) -> tuple[int, int] | None:
        """(column, row) of the cell at a pixel, None outside the wall."""
        if not (0 <= x < self.width and 0 <= y < self.height):
            return None
        x, y, (width, height) = x + self.part.left, y + self.part.top, self.part.whole
        # The middle of the pixel counts, as everywhere in the picture.
        return (
            (2 * x + 1) * self.columns // (2 * width),
            (2 * y + 1) * self.rows // (2 * height),
        )


def _all_of(display: Display, pixels_wide: int) -> Part:
    """The whole picture, with a pixel a cell or more."""
    grid = display.grid
    across_mm, down_mm = grid.pitches_mm
    tall = grid.rows * down_mm / (grid.columns * across_mm)
    width = max(min(pixels_wide, int(MOST_HIGH / tall)), grid.columns)
    height = max(round(grid.rows * down_mm * width / (grid.columns * across_mm)), grid.rows)
    return Part((width, height), 0, 0, width, height)


def _middle(pixels: int, cells: int) -> slice:
    """The pixels of the cells in the middle of an axis: no others are brighter."""
    half = math.ceil(1.5 * pixels / cells)
    return slice(max(pixels // 2 - half, 0), min(pixels // 2 + half + 1, pixels))


def _added(take: Take, extra: Light) -> Take:
    """`take`, with light (height, width, 3) added."""

    def taken(rows: slice, light: Light, spare: Light) -> None:
        light += extra[rows]
        take(rows, light, spare)

    return taken


def _hold_hue(light: Light, spare: Light) -> None:
    """Scale y (see above) of pixels with a channel above 1 down to 1; the colour stays."""
    dark, white = _RANGE
    over = spare[..., 0]
    np.maximum(light[..., 0], light[..., 1], out=over)
    np.maximum(over, light[..., 2], out=over)
    over -= dark
    over /= white - dark
    np.maximum(over, 1, out=over)
    np.maximum(light, dark, out=light)
    light -= dark
    for channel in range(3):  # faster than all three at once
        light[..., channel] /= over
    light += dark


def _to_codes(light: Light, spare: Light) -> None:
    """Turn y (see above) into sRGB code values 0…255 plus a half, in place."""
    np.sqrt(light, out=light)
    light += _SHIFT
    np.divide(_BOW, light, out=spare)
    light += spare
