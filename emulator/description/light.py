"""The sections of a display file for the cover in front of the LEDs and for the view."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Literal

from pydantic import Field

from emulator.description.places import Loc
from emulator.description.section import Section
from emulator.description.wiring import Along

Walls = Literal["none", "black", "white"]
Fault = Callable[[Loc, str, str], None]


class Cover(Section):
    """The cover of the LEDs: a diffusing front, with or without walls between the cells."""

    depth_mm: Annotated[float, Field(gt=0, le=1000)] = Field(
        10.0, description="from the LED to the diffusing front"
    )
    walls: Walls = Field(
        "black",
        description="between the cells, up to the front: none (light leaks), black or white",
    )
    opening_mm: Annotated[float, Field(gt=0, le=10_000)] | None = Field(
        None, description="side of the square opening between walls; default: the pitch"
    )
    wall_reflectance: Annotated[float, Field(ge=0, le=0.98)] = Field(
        0.8, description="share of the light that white walls reflect"
    )
    transmission: Annotated[float, Field(gt=0, le=1)] = Field(
        0.5, description="share of the light that passes the front; the front reflects the rest"
    )
    scatter_mm: Annotated[float, Field(ge=0, le=100)] = Field(
        1.0, description="how far light spreads within the front (standard deviation)"
    )
    off_centre_mm: Annotated[float, Field(ge=-1000, le=1000)] = Field(
        0.0,
        description="distance of the strips from the middle of the cells: down (strips along rows)"
        " or right (along columns), seen from the front; below 0: up or left",
    )
    least_min_to_mean: Annotated[float, Field(gt=0, le=1)] | None = Field(
        None,
        description="how even you want a cell: least light / mean (EN 12464-1: U0); the check"
        " `light` warns below it",
    )
    most_crosstalk: Annotated[float, Field(gt=0, le=1)] | None = Field(
        None,
        description="the largest share of a lit cell's light that you want in the next cell; the"
        " check `light` warns above it",
    )


class View(Section):
    """The distance and the light in which people see the display."""

    distance_m: Annotated[float, Field(gt=0, le=10_000)] = Field(
        3.0, description="from the eye to the front"
    )
    ambient_lx: Annotated[float, Field(ge=0, le=200_000)] = Field(
        100.0, description="light of the surroundings on the front"
    )
    least_contrast: Annotated[float, Field(ge=1, le=1e6)] | None = Field(
        None,
        description="the contrast you want, white / dark in that light; the check `light` warns"
        " below it",
    )


def judge_cover(
    cover: Cover, pitches_mm: tuple[float, float], along: Along | None, fault: Fault
) -> None:
    """Call `fault(loc, message, fix)` if openings or strips do not fit the cells.

    along: the direction of the strips, None if it is not known.
    """
    narrow = min(pitches_mm)
    if cover.opening_mm is not None and cover.opening_mm > narrow * (1 + 1e-9):
        fault(
            ("cover", "opening_mm"),
            f"an opening of {cover.opening_mm:g} mm does not fit cells {narrow:g} mm apart",
            f"give at most {narrow:g}, or leave the key out.",
        )
        return
    across_mm, down_mm = pitches_mm
    pitch_mm = {"rows": down_mm, "columns": across_mm, None: max(pitches_mm)}[along]
    open_mm = pitch_mm if cover.walls == "none" else cover.opening_mm or pitch_mm
    if 2 * abs(cover.off_centre_mm) >= open_mm:
        fault(
            ("cover", "off_centre_mm"),
            f"strips {abs(cover.off_centre_mm):g} mm off the middle of"
            f" {'cells' if cover.walls == 'none' else 'openings'} {open_mm:g} mm wide",
            f"give less than {open_mm / 2:g}; beyond it the LEDs are outside.",
        )
