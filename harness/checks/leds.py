"""LEDs whose light differs from the rest, named by line, row, column or one by one."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from emulator.arrays import Floats, Ints
from emulator.description.wiring import Wiring
from harness.checks.white import NAMES
from harness.explain.lednames import led_names
from harness.explain.wall import Wall
from harness.measure.measured import Measured
from harness.measure.measurement import Shown
from harness.measure.pictures import DARK, HALF_LEVEL
from harness.result.finding import Finding, Severity
from harness.result.words import counted, joined, many

_APART, _STEPS = 0.04, 2.5  # of the light of the rest; and drive steps
_MUCH = 0.2
_HALF_APART = 0.08
_TOGETHER = 0.02  # gains that make one group
_GROUPS = 6  # reported one by one
_BETWEEN = 0.3  # share of its levels at which an LED must be off
_ELSEWHERE = 0.6  # share from which its cell is in doubt


def led_findings(measured: Measured) -> Iterator[Finding]:
    """LEDs with another gain or tint, LEDs that glow, LEDs off at levels in between."""
    shown, wiring = measured.shown, measured.display.wiring
    lit = shown.alike & (shown.gain > 0.02).all(axis=-1)
    if measured.blend is not None:
        lit &= ~measured.blend.doubtful
    tolerance = np.maximum(_APART, _STEPS / np.maximum(shown.plateaus, 1e-9))
    apart = np.abs(shown.gain - 1)
    odd = lit & (apart > tolerance).any(axis=-1)
    yield from _gains(np.flatnonzero(odd), shown.gain, wiring)
    yield from _glowing(shown, wiring)
    yield from _between(np.flatnonzero(lit & ~odd & ~shown.glowing), shown, wiring)


def _gains(odd: Ints, gain: Floats, wiring: Wiring) -> Iterator[Finding]:
    groups: list[Ints] = []
    left = odd
    while left.size and len(groups) <= _GROUPS:
        like = (np.abs(gain[left] - gain[left[0]]) <= _TOGETHER).all(axis=-1)
        groups.append(left[like])
        left = left[~like]
    if left.size or len(groups) > _GROUPS:
        low, high = gain[odd].min(), gain[odd].max()
        yield Finding(
            "levels",
            f"{many(len(odd))} of {len(wiring)} differ from the rest: they show {low:.0%} to"
            f" {high:.0%} of its light{_along(gain, wiring)}",
            place(odd, wiring),
            "; ".join(f"{place(odd[n : n + 1], wiring)}: {_shares(gain[odd[n]])}"
                      for n in range(min(len(odd), 4))),
            "look for a factor for each LED, or one that changes along the lines.",
            _severity(gain[odd]),
            leds=tuple(odd.tolist()),
        )  # fmt: skip
        return
    for leds in groups:
        verb = "shows" if _one(leds, wiring) else "show"
        middle = np.median(gain[leds], axis=0)
        yield Finding(
            "levels",
            f"{place(leds, wiring)} {verb} {_shares(middle)} of the light of the rest",
            place(leds, wiring),
            f"{many(len(leds))} of {len(wiring)}; at full, compared with most LEDs: "
            + ", ".join(f"{name} {g:.1%}" for name, g in zip(NAMES, middle, strict=True)),
            "look for code that treats these LEDs differently: a calibration, a mask, a fade at the"
            " edge.",
            _severity(gain[leds]),
            leds=tuple(leds.tolist()),
        )


def _along(gain: Floats, wiring: Wiring) -> str:
    """', changing along the columns from 100% to 50%', if a straight line fits the gains."""
    light = gain.mean(axis=-1)
    axes = (("columns", wiring.column), ("rows", wiring.row), ("line", wiring.led))
    for name, numbers in axes:
        if np.ptp(numbers) < 3:
            continue
        slope, begin = np.polyfit(numbers, light, 1)
        if np.abs(begin + slope * numbers - light).max() < 0.1 * np.ptp(light):
            first, last = begin + slope * numbers.min(), begin + slope * numbers.max()
            return f", changing along the {name} from {first:.0%} to {last:.0%}"
    return ""


def _severity(gain: Floats) -> Severity:
    return "fault" if np.abs(gain - 1).max() >= _MUCH else "warning"


def _shares(gain: Floats) -> str:
    """'60%' where the channels agree, else 'red at 50%'."""
    if np.ptp(gain) <= _TOGETHER:
        return f"{gain.mean():.0%}"
    off = [n for n in range(3) if abs(gain[n] - 1) > _APART]
    return joined([f"{NAMES[n]} at {gain[n]:.0%}" for n in off])


def _glowing(shown: Shown, wiring: Wiring) -> Iterator[Finding]:
    """LEDs that show light in the dark picture, while most do not."""
    glows = np.flatnonzero(shown.glowing & shown.alike)
    if not glows.size:
        return
    most = shown.steps[DARK][glows].max()
    yield Finding(
        "levels",
        f"black shows drive {most:.0f} on {place(glows, wiring)}: {most / 255:.1%} of full",
        place(glows, wiring),
        f"{many(len(glows))} of {len(wiring)} show light in the dark picture",
        "look for code that writes these LEDs separately.",
        "fault" if most >= 1.5 else "warning",
        leds=tuple(glows.tolist()),
    )


def _between(right: Ints, shown: Shown, wiring: Wiring) -> Iterator[Finding]:
    """LEDs that are right at full and off at levels in between."""
    steps = np.maximum(shown.half_plateaus * shown.gain, 1e-9)
    tolerance = np.maximum(_HALF_APART, (_STEPS + 0.5) / steps)
    half = (np.abs(shown.half_gain - 1) > tolerance)[right].any(axis=-1)
    misses = _misses(shown)[right]
    # What is right at full and at half and off nearly everywhere else shows another cell.
    odd = right[half | ((misses > _BETWEEN) & (misses < _ELSEWHERE))]
    if not odd.size or odd.size > 0.5 * len(wiring):
        return
    first = int(odd[0])
    yield Finding(
        "levels",
        f"{place(odd, wiring)} {'differs' if _one(odd, wiring) else 'differ'} from the rest between"
        f" dark and full: half grey shows {shown.half_gain[first].mean():.0%} of the rest",
        place(odd, wiring),
        f"{many(len(odd))} of {len(wiring)}; {place(odd[:1], wiring)} at level {HALF_LEVEL}: "
        + ", ".join(
            f"{name} {g:.0%}" for name, g in zip(NAMES, shown.half_gain[first], strict=True)
        ),
        "look for code that treats these LEDs differently: another curve or table.",
        leds=tuple(odd.tolist()),
    )


def _misses(shown: Shown) -> Floats:
    """(N,) share of the pictures of single channels in which an LED is off the response."""
    off, counted_in = (np.zeros(len(shown.cell), np.int64) for _ in range(2))
    for t in np.flatnonzero(shown.pictures.single).tolist():
        levels, counts = shown.levels[t], shown.known & ~shown.marks[t]
        told = shown.response[levels.argmax(axis=-1), levels.max(axis=-1)]
        room = 4 + 0.04 * told + 1.5 / shown.dimming[t]
        off += (np.abs(shown.even_in(t) - told) > room).any(axis=-1) & counts
        counted_in += counts
    return np.asarray(off / np.maximum(counted_in, 1))


def place(leds: Ints, wiring: Wiring) -> str:
    """'line 1', 'rows 0 to 4', 'column 3', or the LEDs by number."""
    wall = Wall(wiring)
    for noun, numbers in (("line", wiring.line), ("row", wiring.row), ("column", wiring.column)):
        if noun == "line" and wall.lines == 1:
            continue
        concerned = np.unique(numbers[leds])
        if np.isin(numbers, concerned).sum() == len(leds) and len(leds) > len(concerned):
            return counted(noun, concerned.tolist())
    if len(leds) == 1:
        led = int(leds[0])
        of_line = f" of line {wiring.line[led]}" if wall.lines > 1 else ""
        return f"LED {wiring.led[led]}{of_line}"
    return led_names(wall, leds.tolist())


def _one(leds: Ints, wiring: Wiring) -> bool:
    """Whether the place is one thing: an LED, a line, a row or a column."""
    return not place(leds, wiring).startswith(("LEDs", "lines", "rows", "columns")) and (
        "LEDs" not in place(leds, wiring)
    )
