"""Faults that may be behind what a film shows: only those whose place it points to.

A fault that moves the data or stops it acts from its place on along the line. So its place is where
the readings begin to differ from those expected, or to differ in another way. LEDs that could not
be read there leave several places.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from emulator.arrays import Ints
from emulator.description.display import Display
from emulator.description.faults.built import Built
from emulator.description.faults.fault import Fault
from emulator.description.faults.kinds import KINDS
from emulator.description.faults.power import (
    BusJointBad,
    FeedJointBad,
    FeedMissing,
    PowerJointBad,
)
from emulator.description.faults.strip import (
    AgainstArrow,
    ChannelOff,
    ChannelOn,
    DataOpen,
    LedDark,
    LedJoined,
    LedSwallows,
    OtherChip,
)
from emulator.description.faults.wiring import (
    LedExtra,
    LedMissing,
    OtherCorner,
    OutputsExchanged,
    RunLong,
    RunReversed,
    RunsExchanged,
    RunShort,
)
from harness.survey.reading import DARK, UNKNOWN, UNREAD, Readings, slips
from harness.survey.shades import COLOURS

_MOST_PLACES = 24  # of each line; the longest stretches first
_MOST_UNREAD = 64  # places within a stretch of a line that cannot be read
_MOST_ENDS = 5  # places of each line that are tried as the ends of a piece of another chip
_MOST_SHIFTS = 6
_FEW_LINES = 8  # up to which each pair of lines is tried
_ALL_DARK = 0.9  # of a line
# Instead of by how many LEDs a number is off.
_FITS, _DARK, _VAGUE, _ODD = 1 << 40, 1 << 41, 1 << 42, 1 << 44


def moving(display: Display, built: Built, expected: Readings, film: Readings) -> list[Fault]:
    """Faults that change many LEDs, to add to those of a wall.

    built: the wall with the faults that are known. expected, film: the readings (N,) of all LEDs
    that it should give, and those of the film.
    """
    wrong = slips(expected, film) >= 1
    found: list[Fault] = []
    state = _states(expected, film)
    for chain in built.chains:
        chain = chain[chain >= 0]
        places = _places(state[chain])
        leds = chain[_around(places, len(chain))]
        found += _at(leds, display)
        if (wrong & ((film.number < 0) | ~_colours_fit(expected, film)))[chain].any():
            found += _pieces(chain, places, display)
    shifts = _shifts(expected, film)
    runs = np.unique(display.wiring.run[wrong]).tolist()
    touched = sorted({other for run in runs for other in (run - 1, run) if other >= 0})
    found += [RunReversed(run=run) for run in runs]
    found += [AgainstArrow(run=run) for run in runs]
    found += [
        kind(run=run, leds=by)
        for kind in (RunShort, RunLong) for run in touched for by in shifts
    ]  # fmt: skip
    found += [RunsExchanged(run=a, other=b) for a, b in _taken("run", display, expected, film)]
    lines = np.unique(display.wiring.line[wrong]).tolist()
    found += [OutputsExchanged(line=a, other=b) for a, b in _taken("line", display, expected, film)]
    found += [one for one in OtherCorner.everywhere(display) if one.line in lines]
    dark = wrong & (film.number == DARK)
    if dark.any():
        found += _of_dark(dark, display)
    return possible(found, display)


def local(leds: Ints, display: Display) -> list[Fault]:
    """Faults at some LEDs (positions) that may show at one LED alone."""
    wiring = display.wiring
    found: list[Fault] = [*_at(leds, display)]
    for line, led in zip(wiring.line[leds].tolist(), wiring.led[leds].tolist(), strict=True):
        found.append(LedDark(line=line, led=led))
        for channel in COLOURS:
            found.append(ChannelOff(line=line, led=led, channel=channel))
            found.append(ChannelOn(line=line, led=led, channel=channel))
    runs = np.unique(wiring.run[leds]).tolist()
    found += [RunShort(run=run, leds=1) for run in runs] + [AgainstArrow(run=run) for run in runs]
    return possible(found, display)


def possible(faults: Iterable[Fault], display: Display) -> list[Fault]:
    """Those that this display can have, each once."""
    return [one for one in dict.fromkeys(faults) if next(iter(one.judge(display)), None) is None]


def _states(expected: Readings, film: Readings) -> Ints:
    """(N,) in which way the reading of each LED differs; _VAGUE where nothing can be said."""
    off = film.number - expected.number
    both = (film.number >= 0) & (expected.number >= 0)
    fit = _colours_fit(expected, film)
    colours = np.where(fit, 0, 1 + (film.lit & film.known) @ np.array([1, 2, 4, 8]))
    state = 32 * np.where(both, off, _ODD) + colours
    state = np.where(film.number == DARK, _DARK, state)
    fits = (slips(expected, film) < 1) & (film.number != UNKNOWN) & (film.number != UNREAD)
    state = np.where(fits, _FITS, state)
    vague = (film.number == UNKNOWN) | ((film.number == UNREAD) & fit)
    return np.where(vague, _VAGUE, state)


def _colours_fit(expected: Readings, film: Readings) -> np.ndarray:
    return np.asarray(~((expected.lit != film.lit) & film.known).any(axis=1))


def _places(state: Ints) -> list[tuple[int, int]]:
    """Where the state changes along a line, at most _MOST_PLACES: the last LED before, -1 for none,
    and the first LED behind, of those that say something. Those beside the longest stretches come
    first."""
    said = np.flatnonzero(state != _VAGUE)
    if not said.size:
        return []
    states = np.concatenate([[_FITS], state[said]])
    # A single LED between two that agree is left to `local`.
    alone = np.zeros(len(states), dtype=bool)
    alone[1:-1] = (states[1:-1] != states[:-2]) & (states[:-2] == states[2:])
    kept = np.flatnonzero(~alone)
    at = np.flatnonzero(np.diff(states[kept])) + 1
    lengths = np.diff(np.concatenate([[0], at, [len(kept)]]))
    longest = np.argsort(-np.maximum(lengths[:-1], lengths[1:]), kind="stable")[:_MOST_PLACES]
    numbers = np.concatenate([[-1], said])
    return [(int(numbers[kept[i - 1]]), int(numbers[kept[i]])) for i in at[longest]]


def _around(places: Sequence[tuple[int, int]], leds: int) -> Ints:
    """The LEDs (places on a line) at which a fault may be."""
    found: set[int] = set()
    for before, behind in places:
        few = range(before - 1, behind + 2)
        found.update(few if len(few) <= _MOST_UNREAD else [*few[:4], *few[-4:]])
    return np.array(sorted(n for n in found if 0 <= n < leds), dtype=np.int64)


def _at(leds: Ints, display: Display) -> Iterator[Fault]:
    """The kinds whose place is an LED or a joint, at some LEDs and the joints beside them."""
    wiring = display.wiring
    for line, led in zip(wiring.line[leds].tolist(), wiring.led[leds].tolist(), strict=True):
        yield LedMissing(line=line, led=led)
        yield LedJoined(line=line, led=led)
        yield LedSwallows(line=line, led=led)
        yield LedSwallows(line=line, led=led, lit=True)
        for after in (led - 1, led):
            yield LedExtra(line=line, after=after)
            yield DataOpen(line=line, after=after)
            if after >= 0:
                yield PowerJointBad(line=line, after=after, conductor="plus")
                yield PowerJointBad(line=line, after=after, conductor="ground")


def _pieces(chain: Ints, places: Sequence[tuple[int, int]], display: Display) -> Iterator[Fault]:
    """Other chips on pieces of a line: runs, and pieces between places."""
    wiring = display.wiring
    parts = {one.chip for one in OtherChip.everywhere(display)}
    some = places[:_MOST_ENDS]
    starts = {n for before, behind in some for n in (before + 1, behind)}
    ends = {n for before, behind in some for n in (before, behind - 1)} | {len(chain) - 1}
    pieces = {(run.line, run.first, run.last) for run in wiring.runs}
    for start in starts:
        for end in (end for end in ends if end >= start):
            first, last = sorted(wiring.led[chain[[start, end]]].tolist())
            pieces.add((int(wiring.line[chain[start]]), first, last))
    for line, first, last in sorted(pieces):
        for part in sorted(parts):
            yield OtherChip(line=line, first=first, last=last, chip=part)


def _shifts(expected: Readings, film: Readings) -> list[int]:
    """By how many LEDs numbers are off, the most frequent first; and 1."""
    both = (film.number >= 0) & (expected.number >= 0)
    off = np.abs(film.number - expected.number)[both]
    by, count = np.unique(off[off > 0], return_counts=True)
    most = by[np.argsort(-count, kind="stable")[:_MOST_SHIFTS]].tolist()
    return sorted({1, *(one for one in most if one <= 1000)})


def _taken(
    name: str, display: Display, expected: Readings, film: Readings
) -> Iterator[tuple[int, int]]:
    """Pairs of runs, or of lines, one of which shows numbers of the other."""
    of: Ints = getattr(display.wiring, name)
    read = (film.number >= 0) & (slips(expected, film) >= 1)
    taker, giver = of[read], of[display.wiring.placed[film.number[read]]]
    pairs = np.unique(np.sort(np.stack([taker, giver], axis=1), axis=1), axis=0)
    counts = len(display.wiring.runs if name == "run" else display.wiring.line_lengths)
    few = name == "line" and counts <= _FEW_LINES
    every = [(a, b) for a in range(counts) for b in range(a + 1, counts)] if few else pairs.tolist()
    yield from ((a, b) for a, b in every if a != b)


def _of_dark(dark: np.ndarray, display: Display) -> Iterator[Fault]:
    """Faults of feeds, of supplies and of the data of whole lines, that leave LEDs dark."""
    for kind in (FeedMissing, FeedJointBad, BusJointBad):
        yield from kind.everywhere(display)
    wiring = display.wiring
    placed = np.bincount(wiring.line[wiring.placed], minlength=len(wiring.line_lengths))
    share = np.bincount(wiring.line[dark], minlength=len(placed)) / np.maximum(placed, 1)
    for of_data in (kind for kind in KINDS.values() if kind.stage == "signal"):
        for fault in of_data.everywhere(display):
            if share[int(str(fault.place["line"]))] > _ALL_DARK:
                yield fault
