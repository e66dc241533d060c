"""Faults in time, in words: from groups of LEDs and the states they go through."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

import numpy as np

from emulator.description.wiring import Wiring
from harness.explain.lednames import led_names
from harness.explain.wall import Wall
from harness.result.finding import Finding, Severity
from harness.result.words import counted, listed
from harness.timing.answers import DARK, Indices
from harness.timing.profile import Group

CHECK = "timing"
_ORDINALS = ("second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth")

# What is wrong, without the LEDs affected: kind, then its figures.
Statement = tuple[str, int, tuple[int, ...], tuple[int, ...]]

_REMEDIES = {
    "late": "look for a buffer that is filled after it is sent, or for two buffers that are"
    " exchanged too late.",
    "dark": "look for a counter, a buffer that is cleared before it is sent, or a frame that is"
    " sent before its picture is there.",
    "again": "look for a counter, frames that are skipped to save time, or buffers that alternate:"
    " send every picture once, in order.",
}


class Places:
    """Names LEDs, and what they do, in sentences."""

    def __init__(self, wiring: Wiring) -> None:
        self._wall = Wall(wiring)
        self._leds = len(wiring)

    def all(self, leds: Indices) -> bool:
        return leds.size == self._leds

    def name(self, leds: Indices) -> str:
        """'all LEDs', or the names of these."""
        return "all LEDs" if self.all(leds) else led_names(self._wall, leds.tolist())

    def verb(self, leds: Indices, one: str, more: str) -> str:
        """'LED 3 shows', 'LEDs 3 and 4 show'."""
        return f"{self.name(leds)} {one if leds.size == 1 and not self.all(leds) else more}"


def finding(
    what: str, where: str, evidence: str, remedy: str, severity: Severity = "fault"
) -> Finding:
    return Finding(CHECK, what, where, evidence, remedy, severity)


def group_findings(groups: list[Group], places: Places, frames: int) -> list[Finding]:
    """One finding for each fault, however many groups show it."""
    leds: dict[Statement, list[Indices]] = {}  # the same for several groups is reported once
    for group in groups:
        for statement in _statements(group.states):
            leds.setdefault(statement, []).append(group.leds)
    sent = f"{frames} pictures were sent, in an order in which each one follows every other"
    found = []
    for statement, parts in leds.items():
        where = np.sort(np.concatenate(parts))
        found.append(
            finding(
                _in_words(statement, where, places, len(parts)),
                places.name(where),
                f"{_numbers(statement)}{sent}",
                _REMEDIES.get(statement[0], _REMEDIES["again"]),
            )
        )
    return found


def back(lag: int) -> str:
    """'the picture before', 'the picture 2 before'."""
    return "the picture before" if lag == 1 else f"the picture {lag} before"


def _statements(states: tuple[int, ...]) -> Iterator[Statement]:
    """What is wrong with LEDs that go through these states."""
    lags = Counter(state for state in states if state != DARK)
    # The most frequent lag is the usual one; of two, the smaller.
    usual = min(lags, key=lambda lag: (-lags[lag], lag)) if lags else 0
    turns = _turns(states)
    if usual and not turns:
        yield "late", 1, (), (usual,)
    dark = tuple(phase for phase, state in enumerate(states) if state == DARK)
    if dark:
        yield "dark", *_shortest(len(states), dark, ()), ()
    if turns:
        yield "turns", len(states), (), ()
        return
    other = tuple(p for p, state in enumerate(states) if state not in (DARK, usual))
    if other:
        period, phases = _shortest(len(states), other, tuple(states[p] for p in other))
        yield "again", period, phases, (usual, *(states[p] for p in phases))


def _turns(states: tuple[int, ...]) -> bool:
    """Whether one picture a period is taken, and shown until the next: lags 0, 1, 2 … in turn."""
    first = states.index(min(states))
    turned = np.roll(states, -first)
    return len(states) > 1 and (np.diff(turned) == 1).all() and DARK not in states


def _shortest(
    period: int, phases: tuple[int, ...], values: tuple[int, ...]
) -> tuple[int, tuple[int, ...]]:
    """The same phases, with the same values, as fewer of a shorter period."""
    held = dict(zip(phases, values or [0] * len(phases), strict=True))
    for shorter in range(1, period):
        if period % shorter == 0 and all(
            held.get(phase) == held.get(phase % shorter) for phase in range(period)
        ):
            return shorter, tuple(phase for phase in phases if phase < shorter)
    return period, phases


def _in_words(statement: Statement, leds: Indices, places: Places, groups: int) -> str:
    kind, period, phases, states = statement
    if kind == "late":
        return _late(states[0], leds, places)
    if kind == "dark":
        if period == 1:
            return places.verb(leds, "stays dark", "stay dark")
        if places.all(leds):
            return f"{_when(period, phases)} {'is' if len(phases) == 1 else 'are'} black"
        return f"{places.verb(leds, 'is', 'are')} black in {_when(period, phases)}"
    if kind == "turns":
        if places.all(leds) and groups == 1:
            return (
                f"only every {ordinal(period)} picture is taken, and shown {period} times: the"
                " others are dropped"
            )
        turns = "in turn, " if groups > 1 else ""
        return f"{turns}{places.verb(leds, 'takes', 'take')} only every {ordinal(period)} picture"
    usual, shown = states[0], states[1:]
    whose = "" if places.all(leds) else f" on {places.name(leds)}"
    if len(phases) == 2 and phases[1] == phases[0] + 1:
        if shown == (usual - 1, usual + 1):
            return f"frames {phases[0]} and {phases[1]} of every {period} are exchanged{whose}"
        return (
            f"frames {phases[0]} and {phases[1]} of every {period} are out of order, as if"
            f" exchanged{whose}: they show {_each(shown)}"
        )
    if len(phases) == 1:
        again = "again" if shown[0] == usual + 1 else f"instead of {_now(usual)}"
        return f"{_when(period, phases)} shows {_now(shown[0])} {again}{whose}"
    return f"{_when(period, phases)} show other pictures than their own{whose}: {_each(shown)}"


def _late(lag: int, leds: Indices, places: Places) -> str:
    if places.all(leds):
        return f"each picture is shown {'one frame' if lag == 1 else f'{lag} frames'} late"
    return f"{places.verb(leds, 'shows', 'show')} {back(lag)}"


def _now(lag: int) -> str:
    return "the picture just sent" if lag == 0 else back(lag)


def _each(lags: tuple[int, ...]) -> str:
    return ", ".join(_now(lag) for lag in lags[:6])


def _when(period: int, phases: tuple[int, ...]) -> str:
    if len(phases) == 1:
        return f"every {ordinal(period)} frame"
    return f"frames {listed(phases)} of every {period}"


def _numbers(statement: Statement) -> str:
    """The first frames that a statement means."""
    _, period, phases, _ = statement
    if len(phases) != 1 or period == 1:
        return "frames are counted from 0; " if phases else ""
    first = phases[0]
    return f"frames {first}, {first + period}, {first + 2 * period} …, counted from 0; "


def ordinal(number: int) -> str:
    """'third', '31st': the place of a number from 2 on."""
    if 2 <= number < 2 + len(_ORDINALS):
        return _ORDINALS[number - 2]
    ending = {1: "st", 2: "nd", 3: "rd"}.get(number % 10 * (number // 10 % 10 != 1), "th")
    return f"{number}{ending}"


def some(numbers: Indices) -> str:
    """'frame 4', 'frames 1, 5 and 9'."""
    return counted("frame", numbers.tolist())
