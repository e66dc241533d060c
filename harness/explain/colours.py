"""The explanation of colours: which channel shows what, from pure red, green and blue pictures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from emulator.description.wiring import Wiring
from emulator.errors import PictureError
from harness.explain.lednames import led_names
from harness.explain.wall import Wall
from harness.result.finding import Finding
from harness.result.words import joined, many

_NAMES = ("red", "green", "blue")
_LIT = 0.75  # share of an LED's strongest channel from which another channel counts as lit
_FLOOR = 0.02  # share of the brightest light of all below which a channel counts as dark
_GROUPS = 6  # groups of exceptions reported one by one


@dataclass(frozen=True)
class _Pattern:
    """What one LED does: lit[p][c] is whether picture p lights channel c."""

    lit: tuple[tuple[bool, bool, bool], ...]

    @classmethod
    def from_code(cls, code: int) -> _Pattern:
        bits = [bool(code >> place & 1) for place in range(9)]
        return cls(tuple((bits[p], bits[p + 1], bits[p + 2]) for p in (0, 3, 6)))

    @property
    def right(self) -> bool:
        return all(self.lit[p][c] == (p == c) for p in range(3) for c in range(3))

    def shown(self, picture: int) -> str:
        """The colour that comes out for a picture."""
        lit = [name for name, on in zip(_NAMES, self.lit[picture], strict=True) if on]
        return "white" if len(lit) == 3 else " and ".join(lit) if lit else "nothing"

    def words(self) -> str:
        """What is wrong, in a sentence without a subject."""
        ones = [[c for c in range(3) if row[c]] for row in self.lit]
        if all(len(o) == 1 for o in ones) and len({o[0] for o in ones}) == 3:
            wrong = [p for p in range(3) if ones[p][0] != p]
            if len(wrong) == 2:
                return f"{_NAMES[wrong[0]]} and {_NAMES[wrong[1]]} swapped"
            shows = ", ".join(f"{_NAMES[p]} shows as {_NAMES[ones[p][0]]}" for p in range(3))
            return f"red, green and blue are rotated: {shows}"
        if all(len(o) == 3 for o in ones):
            return "colours are lost: red, green and blue all show as white"
        wrong = [p for p in range(3) if ones[p] != [p]]
        never = [c for c in range(3) if not any(row[c] for row in self.lit)]
        if wrong == never and all(not ones[p] for p in wrong):
            return f"{joined([_NAMES[c] for c in never])} never {_lights(never)}"
        return ", ".join(f"{_NAMES[p]} shows as {self.shown(p)}" for p in wrong)

    def remedy(self, channels: str) -> str:
        """What to do about it, for a chip with these channels."""
        if "W" in channels and any(self.shown(p) == "white" for p in range(3)):
            return (
                "The white channel is in the place of a colour: set the chip's channel order "
                "(GRBW, RGBW …) so that white comes where the chip has it, usually last."
            )
        if all(sum(row) == 1 for row in self.lit):
            return (
                "Change the order in which the code sends the channels (RGB, GRB, BRG …); the"
                " chip's datasheet gives its order on the wire."
            )
        return (
            "Check that the code writes every channel of these LEDs. On hardware: a dead channel, "
            "or a chip of another kind."
        )


def explain_colours(
    wiring: Wiring, shown: ArrayLike, channels: str = "RGB", check: str = "colour"
) -> list[Finding]:
    """What is wrong with the channels, the whole wall first, then LEDs that differ from it.

    shown: float (3, N, 3), light of 0 or more, any unit: shown[p, i, c] is what LED i showed in
    channel c (red, green, blue) when its cell was pure red (p = 0), green or blue; a white
    channel's light is in all three. channels: those of the chip, R G B and W or I. The map check
    judges LEDs that stay dark.
    Returns no findings if every lit LED shows each picture in its own channel.

    Raises PictureError: shown is not (3, N, 3), or not finite numbers of at least 0.
    """
    light = np.asarray(shown, dtype=np.float64)
    if light.shape != (3, len(wiring), 3):
        raise PictureError(
            f"the light shown has shape {light.shape}; it must be (3, {len(wiring)}, 3) for pure "
            f"red, green and blue on {len(wiring)} LEDs",
            fix="give pictures × LEDs × channels.",
        )
    if not (np.isfinite(light) & (light >= 0)).all():
        raise PictureError(
            "the light shown has values below 0 or not finite", fix="give light of 0 or more."
        )
    wall = Wall(wiring)
    codes = _codes(light)
    leds = np.flatnonzero(codes)
    if not leds.size:
        return []
    period = _period(wiring, codes)
    if period:
        return [_period_finding(wall, period, codes, check)]
    values, counts = np.unique(codes[leds], return_counts=True)
    order = np.argsort(-counts, kind="stable")
    groups = [(_Pattern.from_code(int(values[n])), leds[codes[leds] == values[n]]) for n in order]
    return _group_findings(wall, groups, channels, check)


def _codes(light: NDArray[np.float64]) -> NDArray[np.int64]:
    """(N,) the nine bits of each LED's pattern; 0 for an LED that stays dark."""
    # Colours differ in brightness (blue gives the least), so each channel has its own scale.
    brightest = light.max(axis=(0, 1), initial=0.0)
    alive = brightest > _FLOOR * brightest.max(initial=0.0)
    scale = np.where(alive, brightest, np.inf)
    share = light / scale
    strongest = share.max(axis=-1, keepdims=True)
    lit = (share > _FLOOR) & (share > _LIT * strongest)
    return np.asarray(lit.transpose(1, 0, 2).reshape(-1, 9) @ (1 << np.arange(9)))


def _period(wiring: Wiring, codes: NDArray[np.int64]) -> int:
    """3 or 4 when the pattern repeats along the lines with that period only; else 0."""
    for period in (3, 4):
        phase = wiring.led % period
        lit = codes > 0
        if np.bincount(phase[lit], minlength=period).min() < 2:
            continue
        common = [int(np.bincount(codes[lit & (phase == n)]).argmax()) for n in range(period)]
        agrees = codes[lit] == np.array(common)[phase[lit]]
        if len(set(common)) > 1 and agrees.mean() > 0.9:
            return period
    return 0


def _period_finding(wall: Wall, period: int, codes: NDArray[np.int64], check: str) -> Finding:
    sent, takes = ("three", "four") if period == 3 else ("four", "three")
    first = np.flatnonzero(wall.wiring.line == wall.wiring.line[0])[:period].tolist()
    examples = [
        f"{wall.led_name(led)}: "
        + ", ".join(
            f"{_NAMES[p]} shows as {_Pattern.from_code(int(codes[led])).shown(p)}" for p in range(3)
        )
        for led in first
    ]
    return Finding(
        check,
        f"colours repeat every {period} LEDs: the code sends {sent} bytes for each LED, the chip "
        f"takes {takes}",
        "the whole wall",
        "; ".join(examples),
        f"Send {takes} bytes for each LED, or name the chip that you really have.",
    )


def _group_findings(
    wall: Wall, groups: Sequence[tuple[_Pattern, NDArray[np.int64]]], channels: str, check: str
) -> list[Finding]:
    """One finding a pattern that is wrong; the most common first, without naming its LEDs."""
    lit = sum(len(leds) for _, leds in groups)
    common, members = groups[0]
    whole = 2 * len(members) > lit
    found = []
    if whole and not common.right:
        found.append(_finding(wall, common, members, channels, check, "the whole wall"))
    others = [(pattern, leds) for pattern, leds in groups[whole:] if not pattern.right]
    for pattern, leds in others[:_GROUPS]:
        found.append(_finding(wall, pattern, leds, channels, check, led_names(wall, leds.tolist())))
    rest = [leds for _, leds in others[_GROUPS:]]
    if rest:
        left = np.sort(np.concatenate(rest))
        names = led_names(wall, left.tolist())
        found.append(
            Finding(
                check,
                f"{many(len(left))} show other wrong colours, in {len(rest)} ways",
                names,
                "; ".join(
                    f"{led_names(wall, leds.tolist())}: {pattern.words()}"
                    for pattern, leds in others[_GROUPS:]
                ),
                "Fix the findings above first, then check again.",
                leds=tuple(left.tolist()),
            )
        )
    return found


def _finding(
    wall: Wall,
    pattern: _Pattern,
    leds: NDArray[np.int64],
    channels: str,
    check: str,
    where: str,
) -> Finding:
    what = pattern.words()
    if where != "the whole wall":
        what = f"{where}: {what}"
    shows = ", ".join(f"{_NAMES[p]} as {pattern.shown(p)}" for p in range(3))
    do = "does" if len(leds) == 1 else "do"
    return Finding(
        check,
        what,
        where,
        f"{wall.led_name(int(leds[0]))} shows {shows}; {many(len(leds))} of {len(wall)} {do} so",
        pattern.remedy(channels),
        leds=() if where == "the whole wall" else tuple(leds.tolist()),
    )


def _lights(channels: Sequence[int]) -> str:
    return "lights" if len(channels) == 1 else "light"
