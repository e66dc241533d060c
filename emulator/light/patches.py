"""Cells whose light takes another way to the front than planned: faults of cover and front.

Their light is taken out of that of the wall and drawn by an operator of its own, with another
cover; both pictures add up. A cell without front shows the face of its LED: as the light on a
front that lies on the LED, lets all light pass and scatters none.

Left out: that a missing front reflects no ambient light.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from emulator.arrays import Bools, Light
from emulator.description.display import Display
from emulator.description.faults.built import Patch, as_built
from emulator.light.cover import Spot, axes
from emulator.light.operator import Operator

_BARE_MM = 0.5  # depth of the front that stands for none; its light is then as sharp as the LED


@dataclass(frozen=True, eq=False)
class _Other:
    """Cells (rows, columns) with the share of their light that an operator of their own draws."""

    cells: Bools
    share: float
    operator: Operator
    gain: float


class Patches:
    """The cells of a wall that faults of the light change."""

    def __init__(
        self, clear: Light, patches: Sequence[Patch], display: Display, blur_mm: float,
        pixels: tuple[int, int], part: tuple[slice, slice],
    ) -> None:  # fmt: skip
        self._clear = clear[..., None]
        self._others = [_other(patch, display, blur_mm, pixels, part) for patch in patches]
        self.show(*part)

    @classmethod
    def of(
        cls,
        display: Display,
        blur_mm: float,
        pixels: tuple[int, int],
        part: tuple[slice, slice] | None = None,
    ) -> Patches | None:
        """Those of a display, for a picture of (width, height) pixels; None if it has none.

        part: as for `Operator`.
        """
        if not any(fault.stage == "light" for fault in display.faults):
            return None
        built = as_built(display, display.faults)
        clear = built.clear.astype(np.float32)
        part = part or (slice(0, pixels[0]), slice(0, pixels[1]))
        return cls(clear, built.patches, display, blur_mm, pixels, part)

    def show(self, across: slice, down: slice) -> None:
        """Draw these columns and rows of pixels from now on."""
        shape = down.stop - down.start, across.stop - across.start, 3
        self._extra = np.zeros(shape, dtype=np.float32)
        for other in self._others:
            other.operator.show(across, down)

    def apart(self, cells: Light, gain: float) -> tuple[Light, Light]:
        """What the planned cover draws of the light of cells (rows, columns, 3), and the light of
        the rest on what is shown of the front (height, width, 3), times `gain`.

        The second array is used again by the next call.
        """
        cells = cells * self._clear
        rest = np.ones(cells.shape[:2], dtype=np.float32)
        self._extra[...] = 0
        for other in self._others:
            other.operator.expose(gain * other.gain, 0.0)
            part = np.where(other.cells, other.share * rest, 0).astype(np.float32)
            rest -= part

            def add(rows: slice, light: Light, spare: Light) -> None:
                self._extra[rows] += light

            other.operator.blocks_of(cells * part[..., None], add)
        return cells * rest[..., None], self._extra


def _other(
    patch: Patch, display: Display, blur_mm: float, pixels: tuple[int, int],
    part: tuple[slice, slice],
) -> _Other:  # fmt: skip
    cover = display.cover
    if patch.bare:
        update = {"depth_mm": _BARE_MM, "scatter_mm": 0.0, "transmission": 1.0}
        display = replace(display, cover=cover.model_copy(update=update), faults=())
    across, down = (
        replace(axis, off_mm=axis.off_mm + off_mm)
        for axis, off_mm in zip(axes(display), patch.off_mm, strict=True)
    )
    cells = display.grid.columns, display.grid.rows
    operator = Operator(Spot.before(display, blur_mm), (across, down), cells, pixels, part)
    gain = display.cover.transmission / cover.transmission
    return _Other(patch.cells, patch.share, operator, gain)
