"""The examination: sends pictures, and finds and names whatever is not steady in the answers.

It knows nothing of map and colours. It compares what an LED shows for a picture with what the same
LED shows for the same picture at other times. The explanations it tries, simplest first: every LED
shows its picture a fixed number of frames late; what it shows follows a period; all light changes
by the same factor; earlier pictures shine through; single frames differ; the answer depends on
earlier pictures; the answer never repeats.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emulator.description.display import Display
from harness.result.finding import Finding
from harness.timing.answers import (
    DARK,
    FIRST,
    MOST_LAG,
    Answers,
    Indices,
    Levels,
    constant_lags,
    most_often,
    possible_states,
    references_by_lag,
)
from harness.timing.brightness import frame_factors, in_words
from harness.timing.mixture import find_mixture
from harness.timing.noise import noise_findings, noise_of
from harness.timing.oddities import mixture_finding, odd_findings, start_finding
from harness.timing.profile import Group, find_groups
from harness.timing.sequence import PICTURES, order, pictures
from harness.timing.words import Places, finding, group_findings

Show = Callable[[NDArray[np.uint8]], Levels]

_HOLD = MOST_LAG + 4  # frames for which a picture is sent until the LEDs show it
_LONGEST_HOLD = 40
_GONE = 0.3  # of the channels lit when pictures came one by one: fewer count as dark
_SETTLED = 0.99  # of the LEDs must show the same in two frames
_STARTS = (FIRST, 32, PICTURES**2)  # frames after which the code may have started


@dataclass(frozen=True)
class Timing:
    """What the examination found.

    steady: whether each LED shows its picture with a fixed lag, so that map and colours can be
    judged. lags: (N,) frames by which each LED is late. shown: (K, N, C) what it shows for each
    picture.
    noise: drive steps, up and down, by which answers to one picture differ.
    """

    findings: tuple[Finding, ...]
    frames: int
    steady: bool
    lags: Indices
    shown: Levels
    noise: float = 0.0

    @property
    def lag(self) -> int:
        """Frames after which every LED shows a picture that is sent again and again."""
        return int(self.lags.max(initial=0)) if self.steady else 0


def examine(display: Display, show: Show) -> Timing:
    """Send pictures through `show`, which returns what the LEDs show then (N, C), and judge."""
    drawn, asked = pictures(display), order()
    places = Places(display.wiring)
    answers = Answers(np.stack([show(drawn[picture]) for picture in asked]), asked)
    for begin in (FIRST, PICTURES**2):
        lags = constant_lags(answers, begin)
        if (lags >= 0).all():
            shown = references_by_lag(answers, lags, begin)
            groups = [Group((lag,), np.flatnonzero(lags == lag)) for lag in np.unique(lags)]
            start = start_finding(answers, shown, groups, begin, places)
            if start is not None:
                noise = noise_of(answers, lags)
                found = (
                    *group_findings(groups, places, answers.frames),
                    *start,
                    *noise_findings(noise, display, places),
                )
                each_way = noise.each_way if noise else 0.0
                return Timing(found, answers.frames, True, lags, shown, each_way)
    answers, shown = _held(answers, drawn, show)
    return _unsteady(answers, shown, lags, display, places)


def verify(timing: Timing, display: Display, show: Show) -> tuple[Finding, ...]:
    """Send some of the pictures once more: findings if the answers have changed.

    Light dimmed by one factor does not count: a limiter may still respond to earlier pictures.
    """
    drawn = pictures(display)
    asked = np.concatenate([np.arange(PICTURES), np.arange(PICTURES)[::-1], order()[:FIRST]])
    answers = Answers(np.stack([show(drawn[picture]) for picture in asked]), asked)
    groups = [Group((lag,), np.flatnonzero(timing.lags == lag)) for lag in np.unique(timing.lags)]
    wrong = _differs(answers, timing.shown, groups)
    if wrong is None or not wrong.any():
        return ()
    leds = np.flatnonzero(wrong.any(axis=0))
    places = Places(display.wiring)
    return (
        finding(
            f"the answers change with time: {places.verb(leds, 'shows', 'show')} something else for"
            " the same picture than at the start",
            places.name(leds),
            f"{int(wrong.any(axis=1).sum())} of {len(asked)} pictures, sent at the start and again"
            " after all checks",
            "look for something that grows or runs down: a counter, a list, or a buffer that is not"
            " cleared for each picture.",
        ),
    )


def _differs(answers: Answers, shown: Levels, groups: list[Group]) -> NDArray[np.bool_] | None:
    """(T, N): LEDs that do not show their picture, dimmed or not."""
    frames, leds, _ = answers.levels.shape
    expected = np.zeros_like(answers.levels)
    known = np.zeros((frames, leds), dtype=bool)
    for group in groups:
        asked = answers.asked(group.states[0])
        expected[:, group.leds] = shown[asked][:, group.leds]
        known[:, group.leds] = (asked >= 0)[:, None]
    wrong = np.zeros((frames, leds), dtype=bool)
    for time in range(frames):
        off = _apart(answers.levels[time], expected[time], answers.tolerance)
        lit = expected[time] >= max(0.85 * expected[time].max(), 2)
        if off.any() and lit.any():
            factor = np.median(answers.levels[time][lit] / expected[time][lit])
            if 0.01 < factor < 1.5:
                dimmed = np.abs(answers.levels[time] - factor * expected[time]) <= (
                    answers.tolerance + 1 + 0.04 * factor * expected[time]
                )
                off &= ~dimmed.all(axis=-1)
        wrong[time] = off
    return wrong & known


def _apart(levels: Levels, expected: Levels, tolerance: int) -> NDArray[np.bool_]:
    return np.asarray((np.abs(levels - expected) > tolerance).any(axis=-1))


def _held(answers: Answers, drawn: NDArray[np.uint8], show: Show) -> tuple[Answers, Levels]:
    """More answers: each picture sent until it stays, and what the LEDs then show for each."""
    levels, asked = [*answers.levels], answers.order.tolist()
    shown = []
    for number, picture in enumerate(drawn):
        held: list[Levels] = []
        while len(held) < _HOLD or (len(held) < _LONGEST_HOLD and not _settled(held, answers)):
            held.append(show(picture))
        levels += held
        asked += [number] * len(held)
        shown.append(most_often(np.stack(held[MOST_LAG - 1 :][-6:]), answers.tolerance))
    whole = Answers(np.stack(levels), np.array(asked))
    found, often = np.stack(shown), _shown_often(answers)
    lit, often_lit = (np.count_nonzero(one, axis=(1, 2)) for one in (found, often))
    # A picture that is sent again may go dark, or be black by chance: then the first answers count.
    dark = lit < _GONE * often_lit
    found[dark] = often[dark]
    return whole, found


def _shown_often(answers: Answers) -> Levels:
    """(K, N, C) what each LED showed most often for each picture, when they came one by one."""
    return np.stack(
        [
            most_often(answers.levels[answers.order == picture], answers.tolerance)
            for picture in range(PICTURES)
        ]
    )


def _settled(held: list[Levels], answers: Answers) -> bool:
    """Whether two of the last three frames are the same."""
    last = held[-3:]
    return any(
        1 - _apart(a, b, answers.tolerance).mean() >= _SETTLED
        for a, b in ((last[2], last[1]), (last[2], last[0]), (last[1], last[0]))
    )


def _unsteady(
    answers: Answers, shown: Levels, lags: Indices, display: Display, places: Places
) -> Timing:
    def found(findings: list[Finding], steady: bool = False) -> Timing:
        return Timing(tuple(findings), answers.frames, steady, np.maximum(lags, 0), shown)

    states = possible_states(answers, shown)
    for begin in _STARTS:
        groups = find_groups(states, begin)
        if groups:
            start = start_finding(answers, shown, groups, begin, places)
            if start is not None:
                return found([*group_findings(groups, places, answers.frames), *start])
    factors = frame_factors(answers)
    if factors is not None:
        words = in_words(factors)
        if words:
            return found(
                [
                    finding(
                        words,
                        "all LEDs",
                        "pictures of the same light, sent in turn: all LEDs dim by the same factor",
                        "look for a counter or a fade that should end; show each picture at its own"
                        " brightness.",
                    )
                ]
            )
        if noise_of(answers, np.zeros_like(lags)) is None:
            return found([], steady=True)
    odd = np.flatnonzero(lags < 0)
    if not odd.size:  # all become steady after single frames that differ
        odd = np.arange(lags.size)
    mixture = find_mixture(answers, shown, odd, display)
    if mixture is not None:
        return found([mixture_finding(mixture, odd, places)])
    return found(odd_findings(answers, shown, states, odd, places))


__all__ = ["DARK", "Timing", "examine", "verify"]
