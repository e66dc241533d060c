"""Light that changes from frame to frame, the same on the whole wall."""

from __future__ import annotations

import numpy as np

from emulator.arrays import Floats
from harness.timing.answers import FIRST, Answers
from harness.timing.profile import MOST_PERIOD
from harness.timing.sequence import PICTURES

_LIT = 0.85  # of a picture's brightest: full, not a level in between
_ALIKE = 0.98  # of the LEDs must be dimmed by the same factor
_EVEN = 0.05  # factors that differ by less are the same: dim levels are coarse
_LEAST_LIT = 6  # channels: fewer are not enough for a factor


def frame_factors(answers: Answers) -> Floats | None:
    """(T,) the light of each frame, 1 for the brightest.

    None if LEDs are not dimmed by the same factor, or a frame is black: that is another fault.
    """
    last = [np.flatnonzero(answers.order == picture)[-1] for picture in range(PICTURES)]
    shown = answers.levels[last]
    factors = np.zeros(answers.frames)
    for time, picture in enumerate(answers.order.tolist()):
        wanted, came = shown[picture], answers.levels[time]
        lit = wanted >= max(_LIT * wanted.max(), 2)
        if lit.sum() < _LEAST_LIT:
            return None
        factors[time] = np.median(came[lit] / wanted[lit])
        factor = factors[time]  # rounded by half a step before the factor, and once after
        near = np.abs(came - factor * wanted) <= 2 + factor * (0.04 * wanted + 0.75)
        dark = wanted <= 1  # levels between may have gone through a curve after dimming
        if not factors[time] and time >= FIRST:
            return None
        if min(near[lit].mean(), near[dark].mean() if dark.any() else 1) < _ALIKE:
            return None
    # The references come from different times, and so differ in brightness.
    rounds = slice(0, answers.frames // PICTURES * PICTURES)
    for picture in range(len(shown)):
        asked = answers.order == picture
        usual = np.median(factors[rounds][asked[rounds]])
        factors[asked] /= usual or 1.0
    brightest = factors.max()
    return np.asarray(factors / brightest) if brightest > 0 else None


def in_words(factors: Floats) -> str:
    """How the light changes; '' if it is even, or if earlier pictures explain it (a limiter)."""
    later = factors[FIRST:]
    if _spread(later) <= _EVEN:
        return ""
    again = PICTURES**2
    pairs = np.stack([factors[FIRST:again], factors[FIRST + again : 2 * again]])
    if np.ptp(pairs, axis=0).max() <= _EVEN / 2:
        return ""
    low, high = f"{later.min():.0%}", f"{later.max():.0%}"
    parts = np.array([part.mean() for part in np.array_split(later, 4)])
    within = max(float(np.std(part)) for part in np.array_split(later, 4))
    steps = np.diff(parts)
    if abs(parts[-1] - parts[0]) > within:
        if (steps < 0).all():
            return f"the light falls from frame to frame, to {later[-1]:.0%} after {len(factors)}"
        if (steps > 0).all():
            return f"the light rises from frame to frame, still after {len(factors)} frames"
    for period in range(2, MOST_PERIOD + 1):
        phases = [factors[FIRST + phase :: period] for phase in range(period)]
        if all(_spread(phase) <= _EVEN for phase in phases):
            levels = ", ".join(f"{np.median(phase):.0%}" for phase in phases[:6])
            return f"the light changes every {period} frames ({levels}{'' if period < 7 else ' …'})"
    return f"the light changes from frame to frame, between {low} and {high}"


def _spread(values: Floats) -> float:
    return float(np.ptp(values)) if values.size else 0.0
