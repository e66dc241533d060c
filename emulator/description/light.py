"""The sections of a display file that say what the light passes and from where it is seen."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Literal

from pydantic import Field

from emulator.description.places import Loc
from emulator.description.section import Section

Walls = Literal["none", "black", "white"]
Fault = Callable[[Loc, str, str], None]


class Cover(Section):
    """What sits in front of the LEDs: a diffusing front, and walls between the cells or none."""

    depth_mm: Annotated[float, Field(gt=0, le=1000)] = Field(
        10.0, description="from the LED to the diffusing front"
    )
    walls: Walls = Field(
        "black",
        description="between the cells, up to the front: none (light leaks), black or white",
    )
    opening_mm: Annotated[float, Field(gt=0, le=10_000)] | None = Field(
        None, description="side of the square opening between walls; the pitch where not given"
    )
    wall_reflectance: Annotated[float, Field(ge=0, le=0.98)] = Field(
        0.8, description="share of the light that white walls throw back"
    )
    transmission: Annotated[float, Field(gt=0, le=1)] = Field(
        0.5, description="share of the light that passes the front; the rest is thrown back"
    )
    scatter_mm: Annotated[float, Field(ge=0, le=100)] = Field(
        1.0, description="how far light spreads within the front (standard deviation)"
    )


class View(Section):
    """From where, and in which light, the display is seen."""

    distance_m: Annotated[float, Field(gt=0, le=10_000)] = Field(
        3.0, description="from the eye to the front"
    )
    ambient_lx: Annotated[float, Field(ge=0, le=200_000)] = Field(
        100.0, description="light of the surroundings on the front"
    )


def judge_cover(cover: Cover, pitches_mm: tuple[float, float], fault: Fault) -> None:
    """Call `fault(loc, message, mend)` where the openings are wider than the cells."""
    narrow = min(pitches_mm)
    if cover.opening_mm is not None and cover.opening_mm > narrow * (1 + 1e-9):
        fault(
            ("cover", "opening_mm"),
            f"an opening of {cover.opening_mm:g} mm in cells {narrow:g} mm apart",
            f"give at most {narrow:g}, or leave the key out.",
        )
