"""The LEDs that a statement names: it may accuse them only if at least half of them are wrong."""

from __future__ import annotations

from collections.abc import Collection
from functools import singledispatch

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Ints
from harness.explain.hidden import Forgotten, Stray
from harness.explain.operations import (
    Backwards,
    LinesAre,
    MadeFor,
    MapIs,
    Moved,
    Offset,
    Operation,
    RangeBackwards,
    SameCell,
    Shows,
    Shuffled,
    Swapped,
    Symmetry,
    Taken,
)
from harness.explain.state import Seen
from harness.explain.wall import LED_KINDS, Kind, Wall
from harness.result.words import counted

# Positions of the LEDs named, and the number of each one's group.
Named = tuple[Ints, Ints]


def grounded(operation: Operation, seen: Seen) -> bool:
    """Whether at least half of each group that the statement names show another LED's cell."""
    if operation not in seen.judged:
        leds, group = named(operation, seen.wall)
        wrong = np.bincount(group[seen.wrong[leds]], minlength=int(group.max(initial=-1)) + 1)
        held = np.bincount(group)
        seen.judged[operation] = bool(held.size and (2 * wrong >= held).all())
    return seen.judged[operation]


@singledispatch
def named(operation: object, wall: Wall) -> Named:
    """The LEDs that the words of this operation name, in groups."""
    raise TypeError(f"no named LEDs for {operation!r}")


@named.register
def _symmetry(operation: Symmetry, wall: Wall) -> Named:
    return _everything(wall)


@named.register
def _moved(operation: Moved, wall: Wall) -> Named:
    return _everything(wall)


@named.register
def _map_is(operation: MapIs, wall: Wall) -> Named:
    return place(operation, wall)[1]


@named.register
def _made_for(operation: MadeFor, wall: Wall) -> Named:
    return place(operation, wall)[1]


@named.register
def _lines_are(operation: LinesAre, wall: Wall) -> Named:
    return _pieces(wall, "line", operation.lines)


@named.register
def _taken(operation: Taken, wall: Wall) -> Named:
    # A line that only gives cells is named as their source: that accuses none of its LEDs.
    kind, pairs = operation.kind, operation.pairs
    return _pieces(wall, kind, {taker for taker, _ in pairs})


@named.register
def _backwards(operation: Backwards, wall: Wall) -> Named:
    return _pieces(wall, operation.kind, operation.groups)


@named.register
def _range_backwards(operation: RangeBackwards, wall: Wall) -> Named:
    leds = operation.leds(wall)
    return leds, np.zeros_like(leds)


@named.register
def _shuffled(operation: Shuffled, wall: Wall) -> Named:
    return _pieces(wall, operation.kind, (operation.group,))


@named.register
def _offset(operation: Offset, wall: Wall) -> Named:
    led, line = wall.wiring.led, wall.wiring.line
    if not operation.lines:
        led, line = np.arange(len(wall)), np.zeros(len(wall), dtype=np.int64)
    last = len(wall) if operation.last is None else operation.last
    inside = (led >= operation.first) & (led <= last)
    if operation.lines:
        inside &= np.isin(line, operation.lines)
    leds = np.flatnonzero(inside)
    return leds, line[leds]


@named.register
def _forgotten(operation: Forgotten, wall: Wall) -> Named:
    # Those from the first hidden LED on: the ones before it are right.
    found = []
    for number, mine in enumerate(operation.stretches(wall)):
        hidden = np.flatnonzero(wall.wiring.hidden[mine])
        leds = mine[hidden[0] :] if hidden.size else mine[:0]
        found.append((leds, np.full(len(leds), number)))
    leds, group = (np.concatenate(parts) for parts in zip(*found, strict=True))
    return leds, group


@named.register(Stray)
@named.register(Shows)
def _shows(operation: Stray | Shows, wall: Wall) -> Named:
    leds = np.array(operation.leds, dtype=np.int64)
    return leds, np.arange(len(leds))


@named.register(SameCell)
@named.register(Swapped)
def _pair(operation: SameCell | Swapped, wall: Wall) -> Named:
    leds = np.array([operation.led, operation.other])
    # If two show one cell, one of them may be right; if two are exchanged, neither is.
    return leds, np.arange(2) * isinstance(operation, Swapped)


def place(operation: MapIs | MadeFor, wall: Wall) -> tuple[str, Named]:
    """The smallest place that a wrong map affects, in words, and its LEDs.

    The whole wall if at least half of its LEDs differ; else lines or rows (columns) of which at
    least half differ; else a stretch.
    """
    differs = wall.as_seen(operation.apply(wall.wiring.cell, wall)) != wall.wiring.cell
    by_path = isinstance(operation, MapIs) and operation.differences == ("path",)
    if 2 * differs.sum() >= len(wall) and not by_path:
        return "the whole wall", _everything(wall)
    along = wall.words.along if wall.words else "rows"
    kinds: tuple[tuple[str, Kind], ...] = (("row", "row of LEDs"), ("column", "column of LEDs"))
    if along == "columns":
        kinds = kinds[::-1]
    if wall.lines > 1 and not by_path:
        kinds = (("line", "line"), *kinds)
    for noun, kind in kinds:
        mostly, all_in = _mostly(wall, kind, differs)
        if all_in or by_path:
            return counted(noun, mostly), _pieces(wall, kind, mostly)
    leds = np.flatnonzero(differs)
    if leds.size:
        leds = np.arange(leds[0], leds[-1] + 1)
        ends = (wall.led_name(int(leds[0])), wall.led_name(int(leds[-1])))
        return f"{ends[0]} to {ends[1]}", (leds, np.zeros_like(leds))
    return "nothing", (leds, leds)


def _mostly(wall: Wall, kind: Kind, differs: NDArray[np.bool_]) -> tuple[list[int], bool]:
    """The pieces of which at least half differ, and whether they hold all that differ."""
    group = wall.pieces(kind).group
    count, held = np.bincount(group[differs], minlength=group.max() + 1), np.bincount(group)
    mostly = (2 * count >= held) & (count > 0)
    return np.flatnonzero(mostly).tolist(), not count[~mostly].any()


def _everything(wall: Wall) -> Named:
    return np.arange(len(wall)), np.zeros(len(wall), dtype=np.int64)


def _pieces(wall: Wall, kind: Kind, groups: Collection[int]) -> Named:
    pieces = wall.pieces(LED_KINDS.get(kind, kind))
    chosen = np.zeros(max(len(pieces), len(wall.pieces(kind))), dtype=bool)
    chosen[list(groups)] = True
    leds = np.flatnonzero(chosen[pieces.group])
    return leds, pieces.group[leds]
