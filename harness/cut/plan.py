"""Everything to cut for a display: the different parts, how many of each, and the beds."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from typing import Literal, NamedTuple

from emulator.description.display import Display
from harness.cut import bed, numbers
from harness.cut.front import Front, Seamless
from harness.cut.lattice import Between, Walls, walls_of
from harness.cut.lengths import END, INNER, WHOLE, Most, kinds_of, split_rows
from harness.cut.numbers import Stroke
from harness.cut.settings import CutError, Settings
from harness.cut.shape import Shape
from harness.cut.slat import Profile, piece, profile_of

Material = Literal["slats", "front"]
_MOST = 300_000  # walls, or panels: a few seconds of work
_NUMBER_MM = 5.0  # the highest engraved number
_LETTERS: Mapping[Material, str] = {"slats": "W", "front": "F"}  # walls, front
_FORMS = {WHOLE: "whole", END: "end", INNER: "inner"}


@dataclass(frozen=True)
class Part:
    """One different part: its name, what it is, its shape as it should become, its number.

    form: 'whole', 'end', 'inner' of slats; 'corner', 'edge', 'inner' … of the front. cells: how
    many it is long, or wide and high.
    """

    name: str
    material: Material
    thickness: float | None
    form: str
    cells: tuple[int, ...]
    shape: Shape
    engraved: tuple[Stroke, ...]
    count: int


class SlatPiece(NamedTuple):
    """Where a piece of a slat goes: its wall, its first crossing, its part.

    Lines and crossings count from 0, from the left or from the top, seen from the front.
    """

    between: Between
    line: int
    first: int
    part: int


class FrontPiece(NamedTuple):
    """Where a panel of the front goes: its first column and row, and its part."""

    column: int
    row: int
    part: int


@dataclass(frozen=True)
class CutPlan:
    """The parts of a display, their places on the wall, and their places on beds."""

    display: Display
    settings: Settings
    walls: tuple[Walls, Walls] | None
    profile: Profile | None
    parts: tuple[Part, ...]
    slats: tuple[SlatPiece, ...]
    front: tuple[FrontPiece, ...]

    @cached_property
    def loose(self) -> list[tuple[int, int]]:
        """(column line, row line) of crossings where both slats are split, in order."""
        lines = {"rows": set[tuple[int, int]](), "columns": set[tuple[int, int]]()}
        for one, two in pairwise(self.slats):
            if (one.between, one.line) == (two.between, two.line):
                at = one.first + self.parts[one.part].cells[0]
                if at == two.first:
                    lines[one.between].add((at, one.line))
        return sorted(lines["rows"] & {(line, at) for at, line in lines["columns"]})

    @cached_property
    def stacks(self) -> dict[str, list[bed.Bed]]:
        """The beds of each material by the name of their files."""
        kerf, found = self.settings.kerf, {}
        for material, thickness in dict.fromkeys((p.material, p.thickness) for p in self.parts):
            boxes = [
                bed.Box(number, part.shape.cut(kerf).size, part.count)
                for number, part in enumerate(self.parts)
                if (part.material, part.thickness) == (material, thickness)
            ]
            several = len({p.thickness for p in self.parts if p.material == material}) > 1
            name = f"{material}-{thickness:g}mm" if several else material
            found[name] = bed.fill(boxes, self.settings.bed)
        return found

    def sheets(self, material: str) -> tuple[int, float]:
        """How many sheets as large as the bed a material of `stacks` needs, and the used share."""
        stack, (width, height) = self.stacks[material], self.settings.bed
        count = sum(one.copies for one in stack)
        used = sum(
            one.copies * self.parts[placed.part].shape.area_mm2
            for one in stack
            for placed in one.parts
        )
        return count, used / (count * width * height)


def make_plan(display: Display, settings: Settings) -> CutPlan:
    """The plan for a display. Raises CutError if the parts do not fit the bed or each other."""
    catalogue = _Catalogue()
    walls = walls_of(display, settings)
    if display.cover.walls == "none":
        front = _front(display, walls, settings, catalogue)
        return CutPlan(display, settings, None, None, catalogue.parts(), (), front)
    profile = profile_of(display, walls, settings)
    _few_enough(sum(w.standing.size for w in walls), "walls between cells", display)
    slats = tuple(
        placed for w in walls for placed in _slats(display, w, profile, settings, catalogue)
    )
    front = _front(display, walls, settings, catalogue)
    return CutPlan(display, settings, walls, profile, catalogue.parts(), slats, front)


class _Catalogue:
    """The different parts found so far: a part that is the same, turned or turned over, is one."""

    def __init__(self) -> None:
        self._known: dict[tuple[object, ...], int] = {}
        self._parts: list[Part] = []
        self._counts: Counter[int] = Counter()

    def add(
        self,
        material: Material,
        thickness: float | None,
        form: str,
        cells: tuple[int, ...],
        shape: Shape,
        room: tuple[float, float, float, float] | None = None,
    ) -> int:
        """The number of a part. room: middle, width and height of the place for its number."""
        key = (material, thickness, *shape.same_as(both_faces=material == "slats"))
        number = self._known.setdefault(key, len(self._parts))
        self._counts[number] += 1
        if number == len(self._parts):
            letter = _LETTERS[material]
            name = f"{letter}{1 + sum(part.material == material for part in self._parts)}"
            written: list[Stroke] = []
            if room is not None:
                x, y, width, height = room
                written = numbers.strokes(name, (x, y), width, height)
            self._parts.append(
                Part(name, material, thickness, form, cells, shape, tuple(written), 0)
            )
        return number

    def again(self, number: int) -> None:
        """One more of a part."""
        self._counts[number] += 1

    def parts(self) -> tuple[Part, ...]:
        """All of them, with their counts."""
        return tuple(
            replace(part, count=self._counts[number]) for number, part in enumerate(self._parts)
        )


def _slats(
    display: Display, walls: Walls, profile: Profile, settings: Settings, catalogue: _Catalogue
) -> Iterable[SlatPiece]:
    """The pieces of all slats of a direction, line by line."""
    slats = list(walls.slats())
    longest, kerf = max(settings.bed), settings.kerf
    if profile.height + kerf > min(settings.bed):
        raise _too_small(
            display, settings, f"slats are {profile.height:g} mm high", "a lower cover"
        )
    most = _most(longest - kerf, walls.pitch, walls.crossing / 2)
    lengths = Counter(slat.last - slat.first for slat in slats)
    split = split_rows(lengths, most)
    if split is None:
        raise _too_small(
            display, settings, f"a slat of one cell is {walls.pitch + walls.crossing / 2:g} mm long"
        )
    known: dict[tuple[int, tuple[bool, bool]], int] = {}
    for slat in slats:
        first = slat.first
        pieces = split[slat.last - slat.first]
        for number, cells in enumerate(pieces):
            ends = number == 0, number == len(pieces) - 1
            part = _slat_part(walls, profile, settings, catalogue, known, cells, ends)
            yield SlatPiece(walls.between, slat.line, first, part)
            first += cells


def _slat_part(
    walls: Walls,
    profile: Profile,
    settings: Settings,
    catalogue: _Catalogue,
    known: dict[tuple[int, tuple[bool, bool]], int],
    cells: int,
    ends: tuple[bool, bool],
) -> int:
    """The part of a piece; makes a shape only for the first of a kind."""
    number = known.get((cells, ends))
    if number is None:
        shape = piece(walls, profile, cells, ends, settings.fit)
        low = profile.notch_height if walls.notched else 0.0
        room = (
            walls.pitch / 2,
            (low + profile.height) / 2,
            0.6 * (walls.pitch - walls.crossing),
            min(_NUMBER_MM, 0.6 * (profile.height - low)),
        )
        form = _FORMS[sum(ends)]
        number = catalogue.add("slats", walls.thickness, form, (cells,), shape, room)
        known[cells, ends] = number
    else:
        catalogue.again(number)
    return number


def _front(
    display: Display, walls: tuple[Walls, Walls], settings: Settings, catalogue: _Catalogue
) -> tuple[FrontPiece, ...]:
    """The panels of the front: the way of the bed with fewer different ones, then with fewer."""
    front = Front(display, walls)
    splits = (_front_split(display, walls, settings, lines) for lines in front.seamless)
    best = next((split for split in splits if split is not None), None)
    if best is None:
        what = "a cell" if display.camera is None else "the gap of the camera, in one panel,"
        raise _too_small(display, settings, f"{what} does not fit")
    columns, rows = best
    _few_enough(len(columns) * len(rows), "panels of the front", display)
    found = []
    for panel in front.panels(columns, rows):
        (left, right), (top, bottom) = panel.columns, panel.rows
        cells = right - left, bottom - top
        form = panel.form + (" with opening" if _opened(panel.shape) else "")
        number = catalogue.add("front", None, form, cells, panel.shape)
        found.append(FrontPiece(left, top, number))
    return tuple(found)


def _front_split(
    display: Display, walls: tuple[Walls, Walls], settings: Settings, seamless: Seamless
) -> tuple[tuple[int, ...], tuple[int, ...]] | None:
    """Columns and rows of the panels, for the way of the bed with fewer different ones."""
    grid, found = display.grid, []
    for size in dict.fromkeys((settings.bed, settings.bed[::-1])):
        columns, rows = (
            split_rows(
                {cells: 1},
                _most(
                    room - settings.kerf,
                    w.pitch,
                    0.0 if display.cover.walls == "none" else w.crossing / 2,
                ),
                lines,
            )
            for cells, w, room, lines in zip(
                (grid.columns, grid.rows), walls, size, seamless, strict=True
            )
        )
        if columns is not None and rows is not None:
            split = columns[grid.columns], rows[grid.rows]
            kinds = math.prod(len(kinds_of(pieces)) for pieces in split)
            found.append((kinds, math.prod(map(len, split)), split))
    return min(found, key=lambda one: one[:2])[2] if found else None


def _opened(shape: Shape) -> bool:
    return bool(shape.openings or shape.holes or len(shape.outline) > 4)


def _most(room_mm: float, pitch: float, beyond: float) -> Most:
    """The most cells in a length, of pieces that reach `beyond` the outermost walls' middles."""
    whole, end, inner = (int((room_mm - n * beyond) / pitch + 1e-9) for n in (2, 1, 0))
    return Most(whole, end, inner)


def _too_small(
    display: Display, settings: Settings, why: str, other: str = "a smaller pitch"
) -> CutError:
    return CutError(
        f"{why}, on a bed of {settings.bed_words}",
        place=display.path or display.name,
        fix=f"give a larger --bed, or {other}.",
    )


def _few_enough(count: int, what: str, display: Display) -> None:
    if count > _MOST:
        raise CutError(
            f"{count} {what}; foreglow plans at most {_MOST}",
            place=display.path or display.name,
            fix="plan a part of the wall in a display file of its own.",
        )
