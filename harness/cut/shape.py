"""A flat part in mm: its outline of right angles, openings in it, and what the beam takes away."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from emulator.arrays import Floats

# Counter-clockwise around material, clockwise around an opening; the last corner joins the first.
Corners = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Hole:
    """A round opening: its middle and its diameter in mm."""

    x: float
    y: float
    diameter: float


@dataclass(frozen=True)
class Shape:
    """A part: x to the right, y upwards. `openings` have right angles, too."""

    outline: Corners
    openings: tuple[Corners, ...] = ()
    holes: tuple[Hole, ...] = ()

    @cached_property
    def box(self) -> tuple[float, float, float, float]:
        """Its left, lower, right and upper ends."""
        x, y = np.transpose(self.outline)
        return float(x.min()), float(y.min()), float(x.max()), float(y.max())

    @property
    def size(self) -> tuple[float, float]:
        """Width and height."""
        left, low, right, high = self.box
        return right - left, high - low

    @property
    def area_mm2(self) -> float:
        """The material of it."""
        rest = sum(math.pi / 4 * hole.diameter**2 for hole in self.holes)
        return sum(_area(c) for c in (self.outline, *self.openings)) - rest

    def cut(self, kerf_mm: float) -> Shape:
        """The way of the middle of a beam so wide: half of it outside the material."""
        half = kerf_mm / 2
        return Shape(
            _outwards(self.outline, half),
            tuple(_outwards(opening, half) for opening in self.openings),
            tuple(Hole(hole.x, hole.y, hole.diameter - kerf_mm) for hole in self.holes),
        )

    def moved(self, dx: float, dy: float) -> Shape:
        """The part elsewhere."""
        return self._mapped(lambda x, y: (x + dx, y + dy), turns_over=False)

    def turned(self) -> Shape:
        """A quarter of a turn to the left."""
        return self._mapped(lambda x, y: (-y, x), turns_over=False)

    def flipped(self) -> Shape:
        """Turned over, left to right."""
        return self._mapped(lambda x, y: (-x, y), turns_over=True)

    def same_as(self, both_faces: bool) -> tuple[float, ...]:
        """A key that parts share if they are the same piece, turned or, if both faces are alike,
        turned over."""
        ways, one = [], self
        for _ in range(4):
            ways.append(one)
            one = one.turned()
        if both_faces:
            ways += [way.flipped() for way in ways]
        return min(way._numbers() for way in ways)

    def _numbers(self) -> tuple[float, ...]:
        left, low, _, _ = self.box
        numbers: list[float] = []
        for corners in (self.outline, *sorted(self.openings)):
            at = [(round(x - left, 4) + 0.0, round(y - low, 4) + 0.0) for x, y in corners]
            first = at.index(min(at))
            numbers += [v for corner in at[first:] + at[:first] for v in corner]
        for hole in sorted(self.holes, key=lambda h: (h.x, h.y)):
            numbers += [round(hole.x - left, 4), round(hole.y - low, 4), round(hole.diameter, 4)]
        return tuple(numbers)

    def _mapped(
        self, place: Callable[[float, float], tuple[float, float]], turns_over: bool
    ) -> Shape:
        def each(corners: Corners) -> Corners:
            mapped = [place(x, y) for x, y in corners]
            return tuple(reversed(mapped)) if turns_over else tuple(mapped)

        return Shape(
            each(self.outline),
            tuple(each(opening) for opening in self.openings),
            tuple(Hole(*place(hole.x, hole.y), hole.diameter) for hole in self.holes),
        )


def rectangle(left: float, low: float, right: float, high: float) -> Corners:
    """The corners of a rectangle of material."""
    return (left, low), (right, low), (right, high), (left, high)


def simplified(corners: Iterable[tuple[float, float]]) -> Corners:
    """Without corners that are the same as the one before, or on a straight line."""
    kept: list[tuple[float, float]] = []
    for corner in corners:
        if kept and corner == kept[-1]:
            continue
        if len(kept) > 1 and _straight(kept[-2], kept[-1], corner):
            kept.pop()
        if not kept or corner != kept[-1]:
            kept.append(corner)
    while len(kept) > 2 and (kept[0] == kept[-1] or _straight(kept[-2], kept[-1], kept[0])):
        kept.pop()
    while len(kept) > 2 and _straight(kept[-1], kept[0], kept[1]):
        kept.pop(0)
    return tuple(kept)


def _straight(
    one: tuple[float, float], two: tuple[float, float], three: tuple[float, float]
) -> bool:
    return one[0] == two[0] == three[0] or one[1] == two[1] == three[1]


def _area(corners: Corners) -> float:
    """The area to the left of the way round: less than 0 for an opening."""
    x, y = np.transpose(corners)
    return float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum() / 2)


def _outwards(corners: Corners, by_mm: float) -> Corners:
    """Each side moved to the right of its direction, away from the material."""
    at = np.array(corners, dtype=np.float64)
    along: Floats = np.sign(np.roll(at, -1, axis=0) - at)
    outwards = np.stack([along[:, 1], -along[:, 0]], axis=1)
    moved = at + by_mm * (outwards + np.roll(outwards, 1, axis=0))
    return tuple((float(x), float(y)) for x, y in moved)
