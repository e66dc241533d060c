"""What the beam does on a bed: the lines of each operation, in mm, for DXF and SVG the same."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from harness.cut.bed import Bed, Placed
from harness.cut.plan import CutPlan, Part
from harness.cut.settings import Operation
from harness.cut.shape import Corners, Hole, Shape

_DIGITS = 4  # of a millimetre: files stay the same on every machine


@dataclass(frozen=True)
class Drawn:
    """A closed or open line, or a circle, and its operation."""

    operation: Operation
    line: Corners | Hole
    closed: bool = True


def lines_of(plan: CutPlan, one: Bed) -> Iterator[Drawn]:
    """The lines of a bed in the order of the work: engrave, openings, outlines."""
    found = [line for placed in one.parts for line in _part_lines(plan, placed)]
    for operation in ("engrave", "inside", "cut"):
        yield from (line for line in found if line.operation == operation)


def _part_lines(plan: CutPlan, placed: Placed) -> Iterator[Drawn]:
    part: Part = plan.parts[placed.part]
    way = part.shape.cut(plan.settings.kerf)
    for stroke in part.engraved:
        # As an outline of its own, a stroke moves and turns with the part.
        yield Drawn("engrave", _at(Shape(stroke), way, placed).outline, closed=False)
    there = _at(way, way, placed)
    for opening in there.openings:
        yield Drawn("inside", opening)
    for hole in there.holes:
        yield Drawn("inside", hole)
    yield Drawn("cut", there.outline)


def _at(shape: Shape, way: Shape, placed: Placed) -> Shape:
    """A shape moved with the part whose box is that of `way` to its place on the bed."""
    if placed.turned:
        shape, way = shape.turned(), way.turned()
    left, low, _, _ = way.box
    moved = shape.moved(placed.x - left, placed.y - low)
    return Shape(
        _rounded(moved.outline),
        tuple(_rounded(opening) for opening in moved.openings),
        tuple(
            Hole(round(h.x, _DIGITS), round(h.y, _DIGITS), round(h.diameter, _DIGITS))
            for h in moved.holes
        ),
    )


def _rounded(corners: Corners) -> Corners:
    return tuple((round(x, _DIGITS) + 0.0, round(y, _DIGITS) + 0.0) for x, y in corners)
