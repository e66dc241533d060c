"""Parts on the bed of the cutter: how many beds, and what is where on each.

Every part gets beds of its own while it fills them; the rest share beds, shelf by shelf, the
highest first. It is quick, the same each time, and near to the least for parts of few sizes; it is
not the best possible packing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from harness.cut.settings import SPACE_MM


class Placed(NamedTuple):
    """A part by its number, its lower left corner on the bed, and whether it is turned."""

    part: int
    x: float
    y: float
    turned: bool


class Bed(NamedTuple):
    """A bed of parts, and how often you cut it."""

    copies: int
    parts: tuple[Placed, ...]


class Box(NamedTuple):
    """A part by its number, its size with the beam's way, and how many there are."""

    part: int
    size: tuple[float, float]
    copies: int


@dataclass
class _Shelf:
    y: float
    height: float
    used: float = 0.0


@dataclass
class _Open:
    """A bed with room left."""

    top: float = 0.0
    shelves: list[_Shelf] = field(default_factory=list)
    parts: list[Placed] = field(default_factory=list)


def fill(boxes: Sequence[Box], bed: tuple[float, float]) -> list[Bed]:
    """The beds for all of these parts; each must fit the bed one way or the other."""
    beds, rests = [], []
    for box in boxes:
        turned, (across, down) = _best(box.size, bed)
        width, height = box.size[::-1] if turned else box.size
        full, rest = divmod(box.copies, across * down)
        if full:
            at = (
                Placed(box.part, i * (width + SPACE_MM), j * (height + SPACE_MM), turned)
                for j in range(down)
                for i in range(across)
            )
            beds.append(Bed(full, tuple(at)))
        rests += [(height, width, box.part, turned)] * rest
    shared: list[_Open] = []
    for height, width, part, turned in sorted(rests, key=lambda r: (-r[0], -r[1], r[2])):
        if not any(_put(one, (width, height), part, turned, bed) for one in shared):
            shared.append(_Open())
            _put(shared[-1], (width, height), part, turned, bed)
    return beds + [Bed(1, tuple(one.parts)) for one in shared]


def fits(size: tuple[float, float], bed: tuple[float, float]) -> bool:
    """Whether a part fits the bed one way or the other."""
    return any(_count(way, bed) != (0, 0) for way in (size, size[::-1]))


def _best(size: tuple[float, float], bed: tuple[float, float]) -> tuple[bool, tuple[int, int]]:
    """Whether to turn a part so that most of it fit, and how many fit across and down."""
    ways = [(turned, _count(size[::-1] if turned else size, bed)) for turned in (False, True)]
    return max(ways, key=lambda way: way[1][0] * way[1][1])


def _count(size: tuple[float, float], bed: tuple[float, float]) -> tuple[int, int]:
    across, down = (
        int((room + SPACE_MM + 1e-9) / (side + SPACE_MM))
        for room, side in zip(bed, size, strict=True)
    )
    return (across, down) if across and down else (0, 0)


def _put(
    one: _Open, size: tuple[float, float], part: int, turned: bool, bed: tuple[float, float]
) -> bool:
    """Put a part on the first shelf with room, or on a new one; False if there is no room."""
    width, height = size
    for shelf in one.shelves:
        if height <= shelf.height + 1e-9 and shelf.used + width <= bed[0] + 1e-9:
            break
    else:
        if one.top + height > bed[1] + 1e-9:
            return False
        shelf = _Shelf(one.top, height)
        one.shelves.append(shelf)
        one.top += height + SPACE_MM
    one.parts.append(Placed(part, shelf.used, shelf.y, turned))
    shelf.used += width + SPACE_MM
    return True
