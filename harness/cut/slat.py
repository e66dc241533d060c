"""A piece of a slat: crossed slats with half-lap slots, as an egg crate.

A slat is as high as the front is from the board. At each crossing both slats have a slot through
half of their height: those between rows from the front, those between columns from the board, so
that one slides over the other. Where a strip passes below, a slat has a notch on the board's side.
A slat that ends at a crossing reaches to the outer face of the wall there. Where it is split, both
pieces end in the middle of the wall that they cross, which holds them.
"""

from __future__ import annotations

from dataclasses import dataclass

from emulator.description.display import Display
from harness.cut.lattice import Walls
from harness.cut.settings import CutError, Settings
from harness.cut.shape import Corners, Shape, simplified

Step = tuple[float, float, float]  # from x to x, how far the edge is set back there


@dataclass(frozen=True)
class Profile:
    """What the slats of a display have in common, in mm: height, and the notch, 0 if none fits."""

    height: float
    notch_width: float
    notch_height: float


def profile_of(display: Display, walls: tuple[Walls, Walls], settings: Settings) -> Profile:
    """The height of the slats, and the notch if the strip fits between the walls.

    If it does not fit, the slats stand on the strips. Raises CutError for a notch that reaches the
    slots.
    """
    depth, (width, high) = display.cover.depth_mm, settings.strip
    room = min(
        w.pitch - w.crossing - settings.fit - 2 * abs(w.off_centre) for w in walls if w.notched
    ) if any(w.notched for w in walls) else width  # fmt: skip
    if width >= room or high == 0 or width == 0:
        return Profile(depth, 0.0, 0.0)
    if high >= (depth + high) / 2:
        raise CutError(
            f"a notch of {high:g} mm for the strip takes half of slats {depth + high:g} mm high",
            place=display.path or display.name,
            fix="give the strip's height in --strip 12x2, or 0x0 for slats that stand on it.",
        )
    return Profile(depth + high, width, high)


def piece(walls: Walls, profile: Profile, cells: int, ends: tuple[bool, bool], fit: float) -> Shape:
    """A piece of so many cells; x is 0 at the first crossing, y at the board.

    ends: whether the slat ends at its first and at its last crossing; else it is split there.
    """
    half, pitch = walls.crossing / 2, walls.pitch
    left = -half if ends[0] else 0.0
    right = cells * pitch + (half if ends[1] else 0.0)
    deep = profile.height / 2
    slots = [
        (max(left, n * pitch - half - fit / 2), min(right, n * pitch + half + fit / 2), deep)
        for n in range(cells + 1)
    ]
    notches: list[Step] = []
    if walls.notched and profile.notch_width:
        for n in range(cells):
            middle = (n + 0.5) * pitch + walls.off_centre
            reach = profile.notch_width / 2
            notches.append((middle - reach, middle + reach, profile.notch_height))
    from_front = walls.between == "rows"
    lower = _edge(left, right, notches if from_front else sorted(slots + notches))
    upper = _edge(left, right, slots if from_front else [])
    back = [(x, profile.height - y) for x, y in reversed(upper)]
    return Shape(simplified(lower + back))


def _edge(left: float, right: float, steps: list[Step]) -> list[tuple[float, float]]:
    """The corners of an edge from left to right, with how far each is set back."""
    corners: Corners = ((left, 0.0),)
    for begin, end, deep in steps:
        corners += ((begin, 0.0), (begin, deep), (end, deep), (end, 0.0))
    return [*corners, (right, 0.0)]
