"""The section of a display file for a camera that looks out through a gap of the wall."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated

from pydantic import Field

from emulator.description.light import Cover, Fault
from emulator.description.section import Section

if TYPE_CHECKING:
    from emulator.description.sections import Gap, Grid


class Camera(Section):
    """A camera behind the wall that looks out through the middle of a gap."""

    behind_mm: Annotated[float, Field(ge=0, le=1000, allow_inf_nan=False)] = Field(
        description="from the front to the lens behind it, which looks straight out"
    )
    field_deg: Annotated[float, Field(gt=0, le=160, allow_inf_nan=False)] = Field(
        description="field of view: the angle across the diagonal of its picture"
    )
    lens_mm: Annotated[float, Field(gt=0, le=100, allow_inf_nan=False)] = Field(
        3.0, description="diameter of the pupil through which the lens takes light"
    )
    gap: Annotated[int, Field(ge=0, lt=1 << 20)] = Field(
        0, description="number of the gap in [grid] that it looks through, from 0"
    )
    hood_mm: Annotated[float, Field(ge=0, le=1000, allow_inf_nan=False)] | None = Field(
        None,
        description="length of the hood, from the lens towards the front; default: the shortest"
        " that hides every cell from the lens",
    )

    @property
    def slope(self) -> float:
        """By how much the edge of the field moves outwards for each millimetre forwards."""
        return math.tan(math.radians(self.field_deg / 2))

    def clear_mm(self, ahead_mm: float) -> float:
        """Diameter in mm that the field needs, so far ahead of the lens: lens + 2 · tan(α/2) · s.

        Every point of the lens sees the whole field through a hole of this diameter, and none does
        through a smaller one.
        """
        return self.lens_mm + 2 * ahead_mm * self.slope

    @property
    def opening_mm(self) -> float:
        """Diameter in mm of the smallest opening in the front that does not vignette."""
        return self.clear_mm(self.behind_mm)

    def hood_for(self, gap_mm: tuple[float, float]) -> float:
        """Length in mm of the hood: `hood_mm`, else the shortest that hides every cell.

        gap_mm: width and height of the gap. A ray from one edge of the lens past the rim of the
        hood, on the other side, meets the front at the edge of the gap, w from its middle:
        (lens + L·tan) · behind / L = w + lens/2, where the rim of the hood just clears the field.
        """
        if self.hood_mm is not None:
            return self.hood_mm
        past = min(gap_mm) / 2 + self.lens_mm / 2 - self.behind_mm * self.slope
        return min(self.lens_mm * self.behind_mm / past, self.behind_mm) if past > 0 else 0.0


def gap_size_mm(gap: Gap, grid: Grid) -> tuple[float, float]:
    """Width and height of a gap in mm, from the middle of a wall to the middle of a wall."""
    across, down = grid.pitches_mm
    return gap.columns * across, gap.rows * down


def gap_middle_mm(gap: Gap, grid: Grid) -> tuple[float, float]:
    """The middle of a gap in mm, right of and below the corner of the first cell."""
    across, down = grid.pitches_mm
    return (gap.column + gap.columns / 2) * across, (gap.row + gap.rows / 2) * down


def clear_gap_mm(gap: Gap, grid: Grid, cover: Cover) -> tuple[float, float]:
    """Width and height in mm of a gap between the faces of its walls."""
    sizes = gap_size_mm(gap, grid)
    if cover.walls == "none":
        return sizes
    width, height = (
        size - pitch + min(cover.opening_mm or pitch, pitch)
        for size, pitch in zip(sizes, grid.pitches_mm, strict=True)
    )
    return width, height


def judge_camera(camera: Camera, grid: Grid, cover: Cover, fault: Fault) -> None:
    """Call `fault(loc, message, fix)` if the camera has no gap, or sees less than its field."""
    if camera.gap >= len(grid.gaps):
        count = len(grid.gaps)
        fault(
            ("camera", "gap"),
            f"the camera looks through gap {camera.gap}, but [grid] has {count or 'no'} gap"
            f"{'' if count == 1 else 's'}",
            f"give a number from 0 to {count - 1}." if count else "add the gap to gaps in [grid].",
        )
        return
    clear_mm = min(clear_gap_mm(grid.gaps[camera.gap], grid, cover))
    if camera.opening_mm > clear_mm * (1 + 1e-9):
        nearer_mm = (clear_mm - camera.lens_mm) / 2 / camera.slope
        other = (
            f"bring the lens to {math.floor(10 * nearer_mm) / 10:g} mm behind the front or nearer,"
            " or make the gap larger."
            if nearer_mm >= 0.1
            else "make the gap larger."
        )
        fault(
            ("camera", "behind_mm"),
            f"the field of view needs an opening of {camera.opening_mm:.1f} mm, and gap"
            f" {camera.gap} is {clear_mm:.1f} mm wide between its walls",
            other,
        )
    if camera.hood_mm is not None and camera.hood_mm > camera.behind_mm:
        fault(
            ("camera", "hood_mm"),
            f"a hood of {camera.hood_mm:g} mm stands out of the front, which is"
            f" {camera.behind_mm:g} mm from the lens",
            f"give at most {camera.behind_mm:g}.",
        )
