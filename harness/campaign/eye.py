"""What a person sees of each LED of a wall, beside what they should see.

One symbol for each LED and picture: as it should be, dark, or lit in one of seven colours, weaker,
as strong or stronger than it should; and whether the spot of light on its cell looks different.
A person sees luminance and chromaticity, so drives become XYZ through the chip's primaries.

The thresholds are assumptions, no source, for a careful person in a dim room who looks for what
differs from its neighbours: lit from 1/1000 of the luminance of full white; brighter or darker
by 15 %; another tint from 0.02 in CIE 1976 u', v'. Adjoining patches need far less: 1 to 2 % of
luminance (Weber; from memory), 0.004 in u', v' (CIE TN 001:2014, from memory).

Left out: light that leaks from cell to cell, and glare of bright neighbours.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Floats, Ints, Light
from emulator.description.display import Display
from emulator.description.faults.reading import with_faults
from emulator.light.look import Look
from emulator.light.primaries import Primaries, chip_primaries
from emulator.light.wall import WallView
from harness.campaign.facts import Patched

LIT = 1e-3
STEP = 0.15
TINT = 0.02

AS_PLANNED, NOT_LIT = 0, 1
_COLOURS = ((1, 0, 0), (1, 1, 0), (0, 1, 0), (0, 1, 1), (0, 0, 1), (1, 0, 1), (1, 1, 1))
_SYMBOLS = 2 + 3 * len(_COLOURS)  # without spots that differ
FROM_M = 1.0  # the distance of the person, for the shape of a spot
_PIXELS = 24  # across a cell, to compare spots
_MOST_WIDE = 2400  # pixels of the wall
_MOVED = 1 / 8  # of a cell, from which its brightest point is seen to be elsewhere


class Eye:
    """Sees the LEDs of a display."""

    def __init__(self, display: Display, patches: Sequence[Patched]) -> None:
        self._primaries = chip_primaries(display.chip)
        self._channels = display.chip.channels
        self._colours = _uv(self._primaries.mix(_mixes(self._primaries)))
        self._hidden = display.wiring.hidden
        self._spot = np.array([0, *(_spot(display, patch) for patch in patches)], dtype=np.uint8)

    def light(self, drives: NDArray[np.uint8], glow: Light | None = None) -> Light:
        """XYZ (T, U, 3) of LEDs that show drives (T, U, C); 1 is the luminance of full white.

        glow: (U, L) light of each channel for the same drive; 1 without.
        """
        lights = len(self._channels.replace("I", ""))
        light = drives[..., :lights].astype(np.float32) / np.float32(255)
        if "I" in self._channels:
            light *= drives[..., -1:].astype(np.float32) / np.float32(31)
        if glow is not None:
            light *= glow
        return self.mixed(light)

    def mixed(self, light: NDArray[np.float32]) -> Light:
        """XYZ (T, U, 3) of the light (T, U, L) of each channel, 1 at full drive."""
        xyz = (self._primaries.xyz / self._primaries.intensity_cd).astype(np.float32)
        return np.asarray(light @ xyz, dtype=np.float32)

    def symbols(
        self, planned: Light, shown: Light, position: Ints, patch: Ints
    ) -> NDArray[np.uint8]:
        """A symbol (T, U) for each LED and picture; AS_PLANNED if all looks right, or if it is
        hidden.

        planned, shown: XYZ (T, U, 3). position: (U,) of the LEDs. patch: (U,) as in LedFacts.
        """
        symbols = np.zeros(shown.shape[:2], dtype=np.uint8)
        seen = ((planned[..., 1] >= LIT) | (shown[..., 1] >= LIT)) & ~self._hidden[position]
        found = self._symbol(planned[seen], shown[seen])
        lit = found != NOT_LIT
        spot = np.broadcast_to(self._spot[patch], seen.shape)[seen]
        symbols[seen] = found + np.where(lit, spot * _SYMBOLS, 0)
        return symbols

    def _symbol(self, planned: Light, shown: Light) -> Ints:
        """(M,) the symbols, without spots, of lights (M, 3) of which at least one is lit."""
        should, does = planned[:, 1] >= LIT, shown[:, 1] >= LIT
        uv = _uv(shown)
        tinted = np.hypot(*(uv - _uv(planned)).T) > TINT
        share = shown[:, 1] / np.maximum(planned[:, 1], np.float32(LIT))
        level: Ints = 1 + (share > 1 + STEP).astype(np.int64) - (share < 1 - STEP)
        level[~should] = 2
        away = ((uv[:, None] - self._colours) ** 2).sum(axis=2)
        symbol: Ints = 2 + 3 * away.argmin(axis=1) + level
        symbol[should & ~tinted & (level == 1)] = AS_PLANNED
        symbol[~does] = NOT_LIT
        return symbol


def _mixes(primaries: Primaries) -> Floats:
    """Drives (7, L) of the colours that have a symbol."""
    return np.asarray(primaries.by_channel(np.array(_COLOURS, dtype=np.float64)))


def _uv(xyz: NDArray[np.floating]) -> NDArray[np.floating]:
    """CIE 1976 u', v' (…, 2) of XYZ (…, 3); 0 for black."""
    x, y, z = np.moveaxis(xyz, -1, 0)
    below = np.maximum(x + 15 * y + 3 * z, np.float32(1e-12))
    return np.stack([4 * x / below, 9 * y / below], axis=-1)


def _spot(display: Display, patched: Patched) -> int:
    """How the spot of a cell looks with a patch: 0 as planned, 1 of another shape or to one side,
    2 a brighter point on a face as planned, 3 a brighter point on a face that is darker.

    The light model draws the cell, lit alone, as planned and with the fault.
    """
    row, column = np.argwhere(patched.patch.cells)[0]
    lit = np.zeros(display.picture_shape, dtype=np.float32)
    lit[row, column] = 1
    wide = max(min(_PIXELS * display.grid.columns, _MOST_WIDE), display.grid.columns)
    views = (WallView(wall, wide, Look(distance_m=FROM_M))
             for wall in (display, with_faults(display, [patched.fault])))  # fmt: skip
    before, after = (_cell(view, view.luminance(lit), int(row), int(column)) for view in views)
    if np.abs(after - before).max() <= STEP * before.max():
        return 0
    if after.max() <= (1 + STEP) * before.max() or _apart(before, after) > _MOVED:
        return 1
    return 2 if np.median(after) >= (1 - STEP) * np.median(before) else 3


def _apart(before: Light, after: Light) -> float:
    """How far the brightest pixels of two pictures of a cell are apart, as a share of the cell."""
    one, other = (np.array(np.unravel_index(p.argmax(), p.shape)) for p in (before, after))
    return float((np.abs(one - other) / before.shape).max())


def _cell(view: WallView, picture: Light, row: int, column: int) -> Light:
    """The pixels of one cell."""
    down, across = (
        slice(number * size // count, max((number + 1) * size // count, number * size // count + 1))
        for number, size, count in (
            (row, view.height, view.rows), (column, view.width, view.columns),
        )
    )  # fmt: skip
    return picture[down, across]
