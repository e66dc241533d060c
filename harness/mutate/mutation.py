"""The mistakes that code for a wall can make: each with its place, in words and as a Change."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields, is_dataclass
from typing import Any, Literal, TypeAlias

import numpy as np

from emulator.arrays import Bytes, Ints
from emulator.canvas.meant import full_light, light_of_value
from emulator.description.display import Display
from harness.explain.grids import OtherGrid
from harness.mistakes import FAULTS
from harness.mistakes.fault import Fault
from harness.mistakes.leds import ORDERS, ChannelsPermuted
from harness.mistakes.levels import LEVELS
from harness.mistakes.moments import MOMENTS
from harness.mutate.change import BLACK, WHITE, Change
from harness.patterns.coded import ALWAYS_LIT

Group: TypeAlias = Literal["map", "colour", "timing"]
GROUPS: tuple[Group, ...] = ("map", "colour", "timing")
_TRIES = 4  # examples drawn for each that is wanted: some are the same
_COLOURS = ("red", "green", "blue")


@dataclass(frozen=True)
class Mutation:
    """One mistake: its name, its group, in words with its place, and what it changes."""

    name: str
    group: Group
    what: str
    change: Change


@dataclass(frozen=True)
class LeftOut:
    """A mistake that is not tried, and why."""

    name: str
    group: Group
    reason: str


def mutations(
    display: Display, groups: tuple[Group, ...] = GROUPS, each: int = 1, seed: int = 0
) -> tuple[list[Mutation], list[LeftOut]]:
    """The mistakes to try on a wall, and those left out: not possible, without effect, or double.

    each: how many examples of each kind of mistake in the map, at places that `seed` draws.
    """
    tried: dict[Change, Mutation] = {}
    left_out: list[LeftOut] = []
    found: dict[Group, Any] = {"map": _of_map, "colour": _of_colour, "timing": _of_time}
    for group in groups:
        for one in found[group](display, each, seed):
            if isinstance(one, LeftOut):
                left_out.append(one)
            elif one.change not in tried:
                tried[one.change] = one
            elif one.name != (same := tried[one.change]).name:
                left_out.append(LeftOut(one.name, group, f"the same here as '{same.name}'"))
    return list(tried.values()), left_out


def unchanging(mutation: Mutation, value: Any, columns: int) -> bool:
    """Whether a mistake leaves a map, as `Change.of_map` takes it, as it is."""
    return np.array_equal(np.asarray(mutation.change.of_map(value, columns)), np.asarray(value))


def _of_map(display: Display, each: int, seed: int) -> Iterator[Mutation | LeftOut]:
    wiring = display.wiring
    placed = wiring.placed  # an LED without a cell cannot be given one by changing the picture
    for name, kind in FAULTS.items():
        rng = np.random.default_rng([seed, *name.encode()])
        drawn: dict[Fault, None] = {}
        for _ in range(_TRIES * each):
            fault = kind.example(wiring, rng)
            if fault is not None and len(drawn) < each:
                drawn[fault] = None
        if not drawn:
            yield LeftOut(name, "map", "this wall has no place for it")
        for fault in drawn:
            shown = fault.apply(wiring.cell, wiring)[placed]
            if np.array_equal(shown, wiring.cell[placed]):
                yield LeftOut(name, "map", "changes nothing on this wall")
                continue
            source = np.arange(display.grid.columns * display.grid.rows)
            source[wiring.cell[placed]] = _marked(shown)
            place = _place(fault)
            what = f"{fault.what}{f' ({place})' if place else ''}"
            yield Mutation(name, "map", what, Change(source=tuple(source.tolist())))


def _marked(shown: Ints) -> Ints:
    """Cells (N,) with the marks of harness.patterns.coded as BLACK and WHITE."""
    return np.where(shown >= 0, shown, np.where(shown == ALWAYS_LIT, WHITE, BLACK))


def _place(fault: Any) -> str:
    """The figures of a fault, a dataclass, in words; without long lists such as shuffled LEDs."""
    told = []
    for field in fields(fault):
        value = getattr(fault, field.name)
        if isinstance(value, OtherGrid):
            told.append(f"{value.columns} × {value.rows} cells")
        elif is_dataclass(value):
            told.append(_place(value))
        elif not isinstance(value, (tuple, bool)):
            told.append(f"{field.name} {value}")
    return ", ".join(told)


def _of_colour(display: Display, each: int, seed: int) -> Iterator[Mutation | LeftOut]:
    for order in ORDERS:
        shown = ", ".join(_COLOURS[c] for c in order)
        what = f"{ChannelsPermuted.what}: red, green, blue show {shown}"
        letters = "".join(_COLOURS[c][0].upper() for c in order)
        yield Mutation(f"{letters} for RGB", "colour", what, Change(channels=order))
    levels = np.arange(256, dtype=np.uint8)
    ramps = levels[:, None, None] * np.array([*np.eye(3), [1, 1, 1]], np.uint8)
    for name, mistake in LEVELS.items():
        change = Change(levels=name)
        wrong = change.of_pictures(display.canvas.curve, display.controller.frame_rate)(ramps)
        if _alike(ramps, wrong, display):
            yield LeftOut(name, "colour", "changes nothing on this wall")
        else:
            yield Mutation(name, "colour", mistake.what, change)


def _alike(colours: Bytes, others: Bytes, display: Display) -> bool:
    """Whether the wall shows two lists of colours (…, 3), uint8, by the same drives."""
    light, full = light_of_value(display.canvas.curve), full_light(display)
    one, other = 255 * full * light[colours], 255 * full * light[others]
    return np.array_equal(np.round(one), np.round(other))


def _of_time(display: Display, each: int, seed: int) -> Iterator[Mutation | LeftOut]:
    for name, kind in MOMENTS.items():
        yield Mutation(name, "timing", kind.what, Change(moment=name))
