"""A response that follows no single law: the bits left, and the ranges of levels that differ.

A response is a table (256,): the drive steps shown at each level, linear in light.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bools, Floats
from emulator.description.canvas import Curve
from harness.measure.laws import LEVELS, ROUNDING, allowed, meant_steps
from harness.measure.measurement import plateau

How = Literal["dark", "full", "stuck", "factor", "other"]

DARK_FROM = 3.0  # drive steps meant: from here on, a dark LED is not due to rounding
_SAME = 0.75  # drive steps within which a range shows one light
_MOST_PARTED = 2  # most right levels between wrong ones of the same range


@dataclass(frozen=True)
class Range:
    """Levels first…last that show the wrong light.

    how: in which way. steps: the light they show, in drive steps; at the middle level for 'other'
    and 'factor'. factor: the light shown as a share of the light meant.
    """

    first: int
    last: int
    how: How
    steps: float
    factor: float = 1.0


def bits_left(shown: Floats, meant: Floats) -> int | None:
    """How many of 8 bits make a difference, in the level or in the drive; None if all do."""
    drives = np.round(shown)
    distinct = len(np.unique(drives))
    if distinct < 2 or len(np.unique(np.round(meant))) < 4:
        return None
    for bits in range(1, 8):
        if distinct > 2**bits + 1:
            continue
        if not _fewer(meant, shown, distinct):
            return None
        if any(_is_constant(shown, bins) for bins in _bins(bits)) or _on_grid(drives, bits):
            return bits
    return None


def _fewer(meant: Floats, shown: Floats, distinct: int) -> bool:
    """Whether clearly fewer steps are left than after rounding to whole drives."""
    scale = shown.max() / max(meant.max(), 1e-9)
    return distinct <= 0.75 * len(np.unique(np.round(meant * min(scale, 1.0))))


def _bins(bits: int) -> Iterator[NDArray[np.int64]]:
    """(256,) ways to cut levels to so many bits: drop the rest, or round."""
    yield LEVELS >> (8 - bits)
    yield np.round(LEVELS * (2**bits - 1) / 255).astype(np.int64)
    yield np.minimum((LEVELS + (1 << (7 - bits))) >> (8 - bits), 2**bits - 1)


def _is_constant(shown: Floats, bins: NDArray[np.int64]) -> bool:
    starts = np.flatnonzero(np.diff(bins, prepend=-1))
    spread = np.maximum.reduceat(shown, starts) - np.minimum.reduceat(shown, starts)
    return bool((spread <= _SAME).all())


def _on_grid(drives: Floats, bits: int) -> bool:
    """Whether the drives have only so many bits: low bits lost, set, or scaled up to 255."""
    step, top = 1 << (8 - bits), 2**bits - 1
    low = drives % step
    whole = bool((low == 0).all() or ((low == step - 1) | (drives == 0)).all())
    spread = np.abs(drives - np.round(drives * top / 255) * 255 / top) <= _SAME
    clipped = ((low == 0) | (drives == 255)).all()
    return whole or bool(spread.all()) or bool(clipped)


def base_of(shown: Floats, curve: Curve, full: float) -> tuple[Floats, float]:
    """The law that most levels follow, as a table (256,), and the share of levels that do.

    The law is the curve meant, the curve with a gain, or a plain exponent. The share counts levels
    at which light is shown or meant.
    """
    meant = meant_steps(curve, full)
    lit = (meant > 10) & (shown > 10)
    gain = plateau(shown[lit] / meant[lit] * 100) / 100 if lit.any() else 1.0
    powers = [255 * full * (LEVELS / 255) ** p for p in np.arange(1.0, 4.01, 0.1)]
    best, most = meant, -1.0
    for number, table in enumerate([meant, np.minimum(gain * meant, 255), *powers]):
        told = (shown > ROUNDING + 1) | (table > ROUNDING + 1)
        share = float((np.abs(shown - table) <= allowed(shown, table))[told].mean())
        if share > most + (0.15 if number else 0.0):  # another law only if it explains much more
            best, most = table, share
    return best, most


def ranges_off(shown: Floats, base: Floats, least: float = 1.0) -> list[Range]:
    """The ranges of levels at which a table differs from its base (both (256,)).

    least: light of one drive step, in steps of a picture that is not dimmed.
    """
    off = np.abs(shown - base) > allowed(shown, base)
    off |= (shown <= 0.5) & (base >= DARK_FROM * least)
    off[0] = False  # black has a finding of its own
    found = []
    for first, last in _runs(off, shown):
        found.append(_range(shown, base, first, last))
    return found


def _runs(off: Bools, shown: Floats) -> Iterator[tuple[int, int]]:
    """First and last level of each range that is off, with the few right levels in between.

    A range that shows one light includes the levels beside it that show the same.
    """
    wrong = np.flatnonzero(off)
    if not wrong.size:
        return
    cuts = np.flatnonzero(np.diff(wrong) > _MOST_PARTED + 1)
    for part in np.split(wrong, cuts + 1):
        first, last = int(part[0]), int(part[-1])
        if np.ptp(shown[first : last + 1]) <= _SAME:
            light = float(np.median(shown[first : last + 1]))
            same = np.abs(shown - light) <= _SAME
            while first > 0 and same[first - 1] and light > 0.5:
                first -= 1
            while last < 255 and same[last + 1]:
                last += 1
        yield first, last


def _range(shown: Floats, base: Floats, first: int, last: int) -> Range:
    own, meant = shown[first : last + 1], base[first : last + 1]
    middle = (first + last) // 2
    light = float(np.median(own))
    if own.max() <= 0.5:
        lit_before = bool((shown[:first] > 0.5).any())
        return Range(first if lit_before else 0, last, "dark", 0.0)
    if own.min() >= shown.max() - _SAME:
        return Range(first, last, "full", light)
    if np.ptp(own) <= _SAME and last - first >= 2:
        return Range(first, last, "stuck", light)
    factor = float(np.median(own / np.maximum(meant, 1e-9)))
    if (np.abs(own - factor * meant) <= ROUNDING + 1).all():
        return Range(first, last, "factor", float(shown[middle]), factor)
    worst = first + int(np.abs(own - meant).argmax())
    return Range(first, last, "other", float(shown[worst]), float(worst))
