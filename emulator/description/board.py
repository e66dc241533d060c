"""The `[board]` section of a display file: what the strips are mounted on, and the rules of wiring.

Millimetres, seen from the front: x runs right and y runs down from the board's top left corner.
Every key has a default, so that a display file without `[board]` has a board too.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import Field, model_validator

from emulator.description.chips import Chip, Clocked
from emulator.description.section import Contradiction, Section, Words

if TYPE_CHECKING:
    from emulator.description.light import Fault
    from emulator.description.placement import Placement

Size = Annotated[float, Field(gt=0, le=200_000, allow_inf_nan=False)]
Distance = Annotated[float, Field(ge=0, le=10_000, allow_inf_nan=False)]
Coordinate = Annotated[float, Field(ge=-200_000, le=200_000, allow_inf_nan=False)]
Point = Annotated[list[Coordinate], Field(min_length=2, max_length=2)]
Pad = Literal["+", "GND", "DATA", "CLOCK", "BACKUP"]

# The order in which pads are common on strips, across the strip with the arrow pointing right:
# from memory, and makers differ. Look at your strip.
ONE_WIRE_PADS: tuple[Pad, ...] = ("+", "DATA", "GND")
CLOCKED_PADS: tuple[Pad, ...] = ("+", "CLOCK", "DATA", "GND")


class Opening(Section):
    """A rectangle that no wire crosses: an opening for a camera, a bracket, a speaker."""

    name: Words = Field("opening", description="what it is")
    x_mm: Coordinate = Field(description="its left edge")
    y_mm: Coordinate = Field(description="its top edge")
    width_mm: Size = Field(description="its width")
    height_mm: Size = Field(description="its height")


class BoardSection(Section):
    """The board with the strips on it; in mm from its top left corner, seen from the front."""

    width_mm: Size | None = Field(
        None,
        description="width of the board; default: the cells, left_mm or margin_mm on the left,"
        " margin_mm on the right",
    )
    height_mm: Size | None = Field(
        None,
        description="height of the board; default: the cells, top_mm or margin_mm above,"
        " margin_mm below",
    )
    margin_mm: Distance = Field(
        60.0, description="from the outermost cells to the board's edge, where no size is given"
    )
    left_mm: Distance | None = Field(
        None, description="from the board's left edge to the cells; default: in the middle"
    )
    top_mm: Distance | None = Field(
        None, description="from the board's top edge to the cells; default: in the middle"
    )
    thickness_mm: Distance = Field(10.0, description="thickness of the board")
    frame_mm: Distance = Field(
        15.0, description="how far the frame covers the board's edge: no hole and no wire there"
    )
    wires: Literal["back", "front"] = Field(
        "back", description="the side on which wires run; on the back they pass through holes"
    )
    bus_mm: Distance = Field(
        40.0, description="from the outermost LEDs outwards to the bus of the power"
    )
    service_loop_mm: Distance = Field(
        50.0, description="how much longer each wire is than its way, to open and to repair it"
    )
    hole_mm: Annotated[float, Field(gt=0, le=100)] | None = Field(
        None, description="diameter of the holes for wires; default: 6, at most half the pitch"
    )
    gaps_are_open: bool = Field(
        True, description="wires go round the gaps in which no strip goes on"
    )
    opening: Annotated[list[Opening], Field(max_length=100)] = Field(
        [], description="what wires must go round, besides the gaps"
    )
    controller_mm: Point | None = Field(
        None,
        description="place [x, y] of the controller; data_wire_m of [controller] then has no"
        " part in the wire list. Default: not stated, data_wire_m away from the first LED",
    )
    supplies_mm: Annotated[list[Point], Field(max_length=1000)] = Field(
        [],
        description="places [x, y] of the supplies, in their order; default: not stated, as far"
        " away as the wires of [power] are long",
    )
    strip_leds_per_m: Annotated[float, Field(gt=0, le=2000)] | None = Field(
        None,
        description="LEDs (groups, if in_series) on a metre of strip; default: the common density"
        " within 2 % of the pitch along the strips, else that of the pitch",
    )
    joint_mm: Distance = Field(
        0.5, description="how much longer or shorter each soldered joint can make a strip"
    )
    pads: list[Pad] | None = Field(
        None,
        description="pads across the strip's end, from top to bottom with its arrow pointing"
        " right; default: + DATA GND, or + CLOCK DATA GND. Look at your strip",
    )

    @model_validator(mode="after")
    def _pads_once(self) -> BoardSection:
        if self.pads is not None and (
            len(set(self.pads)) < len(self.pads) or not {"+", "GND", "DATA"} <= set(self.pads)
        ):
            raise Contradiction(
                f"pads = {self.pads} does not name +, GND and DATA once each",
                'list each pad of the strip once, such as ["+", "DATA", "GND"].',
            )
        return self

    def pads_of(self, chip: Chip) -> tuple[Pad, ...]:
        """The pads of a strip, from top to bottom with its arrow pointing right."""
        if self.pads is not None:
            return tuple(self.pads)
        return CLOCKED_PADS if isinstance(chip.wire, Clocked) else ONE_WIRE_PADS


def judge_board(
    board: BoardSection, placement: Placement, supplies: int, chip: Chip, fault: Fault
) -> None:
    """Call `fault(loc, message, fix)` for what does not fit on the board."""
    width_mm, height_mm = placement.size_mm
    left, top, right, bottom = placement.cells_mm
    for axis, low, high, most, key in (
        ("wide", left, right, width_mm, "left_mm"),
        ("high", top, bottom, height_mm, "top_mm"),
    ):
        side = "width_mm" if axis == "wide" else "height_mm"
        if low < -1e-6 or high > most + 1e-6:
            given = getattr(board, key) is not None
            fault(
                ("board", key if given else side),
                f"the cells reach from {low:g} to {high:g} mm on a board {most:g} mm {axis}",
                f"give {side} = {most + max(0.0, high - most) + max(0.0, -low):g} at least"
                + (f", or a smaller {key}." if given else "."),
            )
    if 2 * board.frame_mm >= min(width_mm, height_mm):
        least_mm = min(width_mm, height_mm)
        message = f"a frame of {board.frame_mm:g} mm covers the board of {least_mm:g} mm"
        fault(("board", "frame_mm"), message, "give a smaller frame_mm, or a larger board.")
    for number, opening in enumerate(board.opening):
        if (
            opening.x_mm >= width_mm
            or opening.y_mm >= height_mm
            or opening.x_mm + opening.width_mm <= 0
            or opening.y_mm + opening.height_mm <= 0
        ):
            fault(
                ("board", "opening", number, "x_mm"),
                f"the opening '{opening.name}' is outside the board of {width_mm:g} ×"
                f" {height_mm:g} mm",
                "give x_mm and y_mm from the board's top left corner, or delete the opening.",
            )
    if len(board.supplies_mm) not in (0, max(1, supplies)):
        fault(
            ("board", "supplies_mm"),
            f"{len(board.supplies_mm)} places for {max(1, supplies)} supplies",
            "give one place for each supply, or leave the key out.",
        )
    clocked = isinstance(chip.wire, Clocked)
    if board.pads is not None and clocked != ("CLOCK" in board.pads):
        fault(
            ("board", "pads"),
            f"pads {'without' if clocked else 'with'} CLOCK for {chip.part}, which"
            f" {'has' if clocked else 'has no'} clock line",
            "add CLOCK." if clocked else "delete CLOCK.",
        )
