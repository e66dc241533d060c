"""Faults without a period: a start, single frames, mixtures, and answers that never repeat."""

from __future__ import annotations

import numpy as np

from emulator.arrays import Bools
from harness.result.finding import Finding
from harness.timing.answers import DARK, FIRST, MOST_LAG, Answers, Indices, Levels
from harness.timing.mixture import Mixture
from harness.timing.noise import noise_of
from harness.timing.profile import Group
from harness.timing.sequence import PICTURES
from harness.timing.words import Places, back, finding, ordinal, some

_DENSE = 0.5  # of the frames of a start differ: fewer are single frames, not a start
_MOSTLY = 0.97  # of the odd answers: one statement must explain so many
_USUAL = 0.5  # of the answers at the most frequent lag: a smaller lag with so many is preferred
_WHOLE = 0.97  # of the LEDs that can show a difference: the whole frame


def start_finding(
    answers: Answers, shown: Levels, groups: list[Group], begin: int, places: Places
) -> list[Finding] | None:
    """How the first frames differ, once `groups` explain the rest.

    Empty if they do not differ. None if single frames differ, not a start; except the very first
    frames, which nothing else examines.
    """
    wrong = np.zeros(answers.levels.shape[:2], dtype=bool)
    for group in groups:
        for time in range(begin):
            state = group.states[time % len(group.states)]
            if state == DARK or time < state:
                continue
            expected = shown[answers.order[time - state]][group.leds]
            apart = np.abs(answers.levels[time, group.leds] - expected) > answers.tolerance
            wrong[time, group.leds] = apart.any(axis=-1)
    times = np.flatnonzero(wrong.any(axis=1))
    if not times.size:
        return []
    last = int(times[-1]) + 1
    single = times.size < _DENSE * last
    if single and begin > FIRST:
        return None
    leds = np.flatnonzero(wrong.any(axis=0))
    light = answers.levels[:last, leds].sum(axis=(1, 2), dtype=np.int64)
    light = light[times] if single else light
    usual = float(np.median(answers.levels[begin:, leds].sum(axis=(1, 2), dtype=np.int64)))
    if light.max() <= 0.02 * usual:
        how = "dark"
    elif (
        last > 2 and not single and (np.diff(light[times]) > 0).mean() > 0.8 and light[-1] <= usual
    ):
        how = "dimmer: the light rises from frame to frame"
    else:
        how = "different from the same pictures later"
    which = "the first frame is" if last == 1 else f"the first {last} frames are"
    if single:
        which = f"{some(times)} {'is' if times.size == 1 else 'are'}"
    where = "" if places.all(leds) else f" on {places.name(leds)}"
    return [
        finding(
            f"{which} {how}{where}",
            places.name(leds),
            f"{some(times)} differ from what the same pictures showed later",
            "start with a whole frame of the first picture; look for a buffer or a counter that"
            " fills only as frames come. The other checks ran after that.",
            "warning",
        )
    ]


def mixture_finding(mixture: Mixture, leds: Indices, places: Places) -> Finding:
    """How much of earlier pictures shines through."""
    share = mixture.share / (1 if mixture.brighter else sum(mixture.weights))
    of = "the picture before" if mixture.of_one else "the pictures before"
    where = "" if places.all(leds) else f" on {places.name(leds)}"
    weights = ", ".join(f"{weight:.0%}" for weight in mixture.weights)
    what = f"{share:.0%} of {of} shines through{where}"
    if mixture.brighter:
        share = mixture.weights[1]
        what = f"{share:.0%} of {of} shines through where it is brighter{where}"
    return finding(
        what,
        places.name(leds),
        f"in {mixture.domain}: this picture {weights.replace(',', ', those before it', 1)}",
        "show each picture as it is: clear the buffer first, and mix pictures only if you want a"
        " fade.",
    )


def odd_findings(
    answers: Answers, shown: Levels, states: Bools, leds: Indices, places: Places
) -> list[Finding]:
    """The best explanation if neither a period nor a mixture explains the answers."""
    shares = states[: MOST_LAG + 1].mean(axis=(1, 2))
    usual = int((shares >= _USUAL * shares.max()).argmax())
    odd = ~states[usual]
    odd[:MOST_LAG] = False
    return (
        _only_changes(answers, shown, states, odd, places)
        or _single_frames(states, odd, usual, places)
        or _odd_frames(answers, odd, places)
        or _other_pictures(answers, places)
        or _history(answers, leds, places)
        or [_not_repeatable(answers, leds, places)]
    )


def _only_changes(
    answers: Answers, shown: Levels, states: Bools, odd: Bools, places: Places
) -> list[Finding]:
    """LEDs, or whole pictures, that go dark when they do not change."""
    if not odd.any():
        return []
    now, before = answers.order, answers.asked(1)
    same = (np.abs(shown[now] - shown[before]) <= answers.tolerance).all(axis=-1)
    lit = (shown[now] > answers.tolerance).any(axis=-1)
    same[0] = False
    repeated = now == before
    for still, who in (
        (same, "LEDs whose colour does not change go dark"),
        (
            np.repeat(repeated[:, None], odd.shape[1], axis=1),
            "a picture that is sent again is dark",
        ),
    ):
        expected = still & lit
        expected[:MOST_LAG] = False
        if (states[DARK] & expected & odd)[odd].mean() >= _MOSTLY and (
            expected & odd
        ).sum() >= _MOSTLY * expected.sum():
            leds = np.flatnonzero(odd.any(axis=0))
            return [
                finding(
                    f"{who}: only what changes is sent",
                    places.name(leds),
                    f"{int(odd.any(axis=1).sum())} of {answers.frames} frames",
                    "send every LED in every frame: the chips do not know which ones were left"
                    " out.",
                )
            ]
    return []


def _single_frames(states: Bools, odd: Bools, usual: int, places: Places) -> list[Finding]:
    """Frames without a period in which LEDs are dark or show an earlier picture."""
    if not odd.any():
        return []
    frames = np.flatnonzero(odd.any(axis=1))
    leds = np.flatnonzero(odd.any(axis=0))
    candidates = [DARK, *(lag for lag in range(MOST_LAG + 1) if lag != usual)]
    explains = [float(states[state][odd].mean()) for state in candidates]
    count = f"in {frames.size} of {len(odd)} frames"
    evidence = f"{some(frames)}, counted from 0"
    best = candidates[int(np.argmax(explains))]
    some_lag = np.asarray(states[[lag for lag in candidates if lag != DARK]].any(axis=0))
    if max(explains) >= _MOSTLY:
        # LEDs that look the same either way do not show whether the whole frame was wrong.
        telling = np.logical_or(odd, ~states[best])
        whole = odd[frames].sum() >= _WHOLE * telling[frames].sum() and places.all(leds)
        if best == DARK:
            what = (
                f"{count} the wall is black"
                if whole
                else f"{places.verb(leds, 'is', 'are')} black {count}"
            )
        else:
            shows = back(best) if best else "the picture just sent"
            what = (
                f"{count} {shows} is shown again"
                if whole
                else f"{places.verb(leds, 'shows', 'show')} {shows} {count}, not always the same"
                " LEDs"
            )
    elif some_lag[odd].mean() >= _MOSTLY:
        what = f"{places.verb(leds, 'shows', 'show')} an earlier picture {count}"
    else:
        return []
    return [
        finding(
            what,
            places.name(leds),
            evidence,
            "look for a buffer that is written while it is sent, for skipped frames, and for code"
            " that depends on random numbers or on how long a picture takes.",
        )
    ]


def _other_pictures(answers: Answers, places: Places) -> list[Finding]:
    """Frames that are whole pictures, but not those asked for."""
    kinds: list[Levels] = []
    for levels in answers.levels[MOST_LAG:]:
        if not any(_alike(levels, one, answers.tolerance) for one in kinds):
            kinds.append(levels)
        if len(kinds) > PICTURES:
            return []
    return [
        finding(
            "frames show another picture than the one just sent, with no fixed delay",
            places.name(np.arange(answers.levels.shape[1])),
            f"{answers.frames} frames, each a whole picture of those sent",
            "look for a queue that is emptied more slowly than it is filled, or for pictures taken"
            " in another order.",
        )
    ]


def _alike(levels: Levels, others: Levels, tolerance: int) -> bool:
    return bool((np.abs(levels - others) <= tolerance).all())


def _odd_frames(answers: Answers, odd: Bools, places: Places) -> list[Finding]:
    """Frames that show something else, between frames that are right."""
    frames = np.flatnonzero(odd.any(axis=1))
    if not 0 < frames.size <= _DENSE * (answers.frames - MOST_LAG) + 1:
        return []
    leds = np.flatnonzero(odd.any(axis=0))
    how = "show"
    if (np.ptp(answers.levels[frames], axis=0) <= answers.tolerance).all():
        how = "always show the same,"
    apart = np.unique(np.diff(frames))
    count = f"{frames.size} of {answers.frames} frames"
    if apart.size == 1 and frames.size > 2:
        count = f"every {ordinal(int(apart[0]))} frame"
        how = how.replace("show", "shows")
    what = "" if places.all(leds) else f" on {places.name(leds)}"
    return [
        finding(
            f"{count} {how} something other than the picture{what}",
            places.name(leds),
            f"{some(frames)}, counted from 0",
            "look for a counter, for two code paths that alternate, or for a buffer that other code"
            " writes to.",
        )
    ]


def _history(answers: Answers, leds: Indices, places: Places) -> list[Finding]:
    """Answers that repeat if the pictures before them repeat."""
    again = PICTURES**2
    first, second = answers.levels[MOST_LAG:again, leds], answers.levels[again + MOST_LAG :, leds]
    same = (np.abs(first - second[: len(first)]) <= answers.tolerance).all(axis=-1)
    if same.mean() < _MOSTLY:
        return []
    return [
        finding(
            f"{places.verb(leds, 'shows', 'show')} something that depends on the pictures before",
            places.name(leds),
            f"{again} pictures sent twice in the same order gave the same bytes; in another order"
            " the same picture gave other bytes",
            "look for data kept from one picture to the next: a buffer, a list of changes.",
        )
    ]


def _not_repeatable(answers: Answers, leds: Indices, places: Places) -> Finding:
    apart = 0
    pair, led = (0, 0), int(leds[0]) if leds.size else 0
    for picture in range(PICTURES):
        times = np.flatnonzero(answers.order == picture)[1:]
        of_one = answers.levels[times][:, leds]
        if not of_one.size:
            continue
        off = np.ptp(of_one, axis=0)
        if off.max() > apart:
            apart = int(off.max())
            which, channel = np.unravel_index(int(off.argmax()), off.shape)
            seen = of_one[:, which, channel]
            pair = (int(times[seen.argmax()]), int(times[seen.argmin()]))
            led = int(leds[which])
    values = [" ".join(str(v) for v in answers.levels[time, led].tolist()) for time in pair]
    noise = noise_of(answers, np.zeros(answers.levels.shape[1], dtype=np.intp))
    figures = f", {noise.words}" if noise else f", drives up to {apart} steps apart"
    return finding(
        f"the same picture gave different bytes: not repeatable{figures}",
        places.name(leds),
        f"{places.name(np.array([led]))} showed {values[0]} in frame {pair[0]} and {values[1]} in"
        f" frame {pair[1]}, for the same picture",
        "look for random numbers, for data kept from one picture to the next, and for code that"
        " depends on the time.",
    )
