"""What a film of a wall means: the state of each LED, the faults behind it, the map as built."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from emulator.arrays import Ints
from emulator.description.display import Display
from emulator.description.faults.fault import Fault
from emulator.description.mapfile import map_text
from emulator.files import write_whole
from harness.explain import explain
from harness.patterns.coded import NEVER_LIT
from harness.result.finding import Finding
from harness.survey import wording
from harness.survey.advice import advice
from harness.survey.causes import Cause, Causes, causes
from harness.survey.evenness import beside_smooth
from harness.survey.hues import PLANNED, Order, in_order, letters_for, other_chips
from harness.survey.lightfaults import light_causes
from harness.survey.mapping import MapAsBuilt, map_as_built
from harness.survey.reading import DARK, UNREAD, Readings, of_film
from harness.survey.sagging import without_sags
from harness.survey.seen import Seen
from harness.survey.shades import Shades, without_print
from harness.survey.standing import BESIDE, ILLEGIBLE
from harness.survey.trusted import pitch_px, trusted
from harness.survey.upright import UPRIGHT, Turn, set_upright, turn_of

# Of an LED, the first that is true. 'nowhere': its data reach no cell, as on a wall where one is
# missing; 'unread': the film leaves it open.
STATES = ("unread", "nowhere", "dark", "flickers", "another hue", "weak", "another batch", "fine")

# Of a cell, the first that is true; GAP where there is no LED.
MARKS = ("unread", "dark", "another LED", "other light", "as planned")
GAP = -1


class LedAsBuilt(NamedTuple):
    """An LED of the plan. column, row: the cell that shows its number; None where none does."""

    line: int
    led: int
    column: int | None
    row: int | None
    confidence: float
    state: str


class Uncertain(NamedTuple):
    """An LED that the film leaves open, and why."""

    line: int
    led: int
    why: str


@dataclass(frozen=True, eq=False)
class Survey:
    """What a film means.

    leds: those of the plan that have a cell, in the order of the data. uncertain: those that the
    film leaves open. findings: what is wrong, the faults first. causes: the faults, each with those
    that look the same. marks: (rows, columns) of each cell as filmed, numbers in MARKS or GAP.
    as_built: the map. notes: what to do better in the next film, what was assumed, and what is
    unknown.
    """

    seen: Seen
    leds: tuple[LedAsBuilt, ...]
    uncertain: tuple[Uncertain, ...]
    findings: tuple[Finding, ...]
    causes: tuple[Cause, ...]
    marks: Ints
    as_built: MapAsBuilt
    notes: tuple[str, ...]

    @property
    def found(self) -> int:
        """LEDs whose number was read somewhere."""
        return sum(led.column is not None for led in self.leds)

    def to_json(self) -> dict[str, Any]:
        """Everything as JSON types; column and row are null where no cell shows the LED."""
        return {
            "display": self.seen.display.name,
            "found": self.found,
            "leds": [led._asdict() for led in self.leds],
            "uncertain": [one._asdict() for one in self.uncertain],
            "findings": [finding.to_json() for finding in self.findings],
            "faults": [[str(fault) for fault in cause.faults] for cause in self.causes],
            "map_enough": not self.as_built.lacks,
            "map_lacks": self.as_built.lacks,
            "notes": list(self.notes),
        }


class _Read(NamedTuple):
    """A film as it was read, if it is upright: readings (N,), light and causes. unknown: why the
    light of LEDs was not judged, '' if it was."""

    film: Readings
    shades: Shades
    causes: Causes
    unknown: str


def told(seen: Seen) -> Survey:
    """What a film means, held against the plan: faults that the display file has count as well."""
    display = replace(seen.display, faults=())
    seen, order = in_order(seen)
    turn = turn_of(seen)
    read = _read(set_upright(seen, turn), display)
    findings, named = [], list(read.causes.found)
    if turn != UPRIGHT:
        corners = _corners(seen, display)
        findings.append(wording.of_turn(turn.words(), corners, display))
        named = [Cause((one,), np.arange(display.leds)) for one in corners] + named
    if order != PLANNED:
        findings.append(wording.of_order(order, display))
        named += _order_causes(order, display)
    findings += [wording.of_cause(cause, display, read.film) for cause in read.causes.found]
    left = read.causes.left
    if left.size:
        differences = explain(display.wiring, _sources(read.film, display)).findings()
        findings.append(wording.of_left(left, differences, display))
    if read.causes.vague.size:
        findings.append(wording.of_vague(read.causes.vague, display))
    findings += wording.of_shades(read.shades, display)
    named += light_causes(read.shades, display)
    faults = [cause.fault for cause in read.causes.found]
    as_built = map_as_built(seen, display, faults, not left.size, turn)
    if order != PLANNED:
        as_built = as_built.lacking(f'[chip] order = "{letters_for(order, display)}"')
    states = _states(read, display)
    doubts = _doubts(seen, read.causes)
    leds = tuple(_leds(seen, display, as_built.table, states, turn, doubts))
    uncertain = tuple(
        Uncertain(led.line, led.led, doubt or "not found")
        for led, doubt in zip(leds, doubts, strict=True)
        if doubt or led.state == "unread"
    )
    better = advice([one.why for one in uncertain], pitch_px(seen))
    return Survey(
        seen,
        leds,
        uncertain,
        tuple(findings),
        tuple(named),
        _marks(read, states, display, turn),
        as_built,
        seen.notes + better + wording.notes_of(read.unknown, read.shades, display),
    )


def write_map(survey: Survey, path: Path | str) -> None:
    """Write the map as built as CSV for `[wiring] map`. Raises WriteError."""
    write_whole(path, map_text(survey.as_built.table))


def _read(seen: Seen, display: Display) -> _Read:
    wiring = display.wiring
    light = np.concatenate([seen.light, seen.swing[..., None]], axis=2)
    read = seen.number >= 0
    share = beside_smooth(light, ~display.gap, read)
    film = of_film(seen, share)
    found = causes(display, film)
    # Colours that are missing say nothing of how bright the others are.
    plain = wiring.placed[~found.recoloured[wiring.placed]]
    there = np.zeros_like(display.gap)
    there[wiring.row[plain], wiring.column[plain]] = True
    sure = trusted(seen, share)
    faults = [one.fault for one in found.found]
    share = beside_smooth(light, there & sure.light, read)
    flicker = np.where(sure.steady, seen.flicker, np.nan)
    even, sag = without_sags(display, faults, share, flicker)
    even, uneven = without_print(even, display)
    found = replace(found, found=(*found.found, *([sag] if sag else [])))
    return _Read(film, even, found, sure.unknown or uneven)


def _order_causes(order: Order, display: Display) -> list[Cause]:
    """Other chips on whole lines, where there are parts with that order of colours."""
    wiring = display.wiring
    parts = ((line, other_chips(order, display, line)) for line in range(len(wiring.line_lengths)))
    return [Cause(some, np.flatnonzero(wiring.line == line)) for line, some in parts if some]


def _corners(seen: Seen, display: Display) -> list[Fault]:
    """Other corners of lines, if these explain a film that is taken as upright."""
    found = _read(seen, display).causes
    if found.left.size:
        return []
    return [one.fault for one in found.found if one.fault.name == "other-corner"]


def _sources(film: Readings, display: Display) -> Ints:
    """(N,) the cell whose part of the picture each LED shows, as `explain` takes it."""
    wiring = display.wiring
    shown = wiring.cell[wiring.placed][np.maximum(film.number, 0)]
    return np.select([film.number >= 0, film.number == DARK], [shown, NEVER_LIT], wiring.cell)


def _states(read: _Read, display: Display) -> Ints:
    """(N,) the state at the cell of each LED of the plan, a number in STATES."""
    film, light = read.film, read.shades
    piece = np.zeros(display.leds, dtype=bool)
    for one in light.pieces:
        piece[one.first : one.last + 1] = True
    hue = (film.known & ~film.lit).any(axis=1) | (
        light.weak.any(axis=1) & ~light.weak[:, :3].all(axis=1)
    )
    true = {
        "unread": (film.number < 0) & (film.number != DARK),
        "dark": film.number == DARK,
        "flickers": light.flickers,
        "another hue": hue,
        "weak": light.weak[:, :3].all(axis=1),
        "another batch": piece,
    }
    numbers = [STATES.index(name) for name in true]
    return np.select(list(true.values()), numbers, STATES.index("fine"))


def _leds(
    seen: Seen,
    display: Display,
    table: Ints,
    states: Ints,
    turn: Turn,
    doubts: Sequence[str],
) -> Iterator[LedAsBuilt]:
    """Each LED that has a cell, with the state of the cell where it is; or should be."""
    wiring = display.wiring
    planned = np.empty(wiring.rows * wiring.columns, dtype=np.int64)  # of each cell as filmed
    planned[turn.filmed(wiring.rows, wiring.columns)] = wiring.led_at.ravel()
    slots = {(line, led): row * wiring.columns + column if column >= 0 else -1
             for line, led, column, row in table.tolist()}  # fmt: skip
    for number, at in enumerate(wiring.placed.tolist()):
        line, led = int(wiring.line[at]), int(wiring.led[at])
        column, row = int(seen.column[number]), int(seen.row[number])
        there = row >= 0
        cell = row * wiring.columns + column if there else slots.get((line, led), -1)
        state = STATES[states[planned[cell]]] if cell >= 0 else "nowhere"
        if doubts[number] and not there:
            state = "unread"
        yield LedAsBuilt(
            line, led, column if there else None, row if there else None,
            round(float(seen.confidence[number]), 4), state,
        )  # fmt: skip


def _doubts(seen: Seen, found: Causes) -> list[str]:
    """Why it is uncertain where each LED is, '' if it is not.

    The faults that were found account for LEDs that light nowhere; but they say nothing of one
    whose number blinks, nor of a cell that lights with no number of its own, nor of a film of which
    much could not be read.
    """
    expected = found.expected.number
    lights = np.isin(np.arange(len(seen.why)), expected)
    lights |= expected[seen.display.wiring.placed] == UNREAD
    return [
        why if one or why in (BESIDE, ILLEGIBLE) else ""
        for why, one in zip(seen.why, lights.tolist(), strict=True)
    ]


def _marks(read: _Read, states: Ints, display: Display, turn: Turn) -> Ints:
    """(rows, columns) as filmed, numbers in MARKS or GAP."""
    wiring = display.wiring
    other = (read.film.number >= 0) & (read.film.number != wiring.placed_number)
    each = np.select(
        [states == STATES.index("unread"), states == STATES.index("dark"), other,
         states != STATES.index("fine")],
        range(4), MARKS.index("as planned"),
    )  # fmt: skip
    flat = np.full(wiring.rows * wiring.columns, GAP)
    filmed = turn.filmed(wiring.rows, wiring.columns)
    flat[filmed[wiring.cell[wiring.placed]]] = each[wiring.placed]
    return flat.reshape(wiring.rows, wiring.columns)
