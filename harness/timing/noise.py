"""Noise: drives for one picture that differ a little from frame to frame, in each LED separately.

Dithering that [canvas] declares is not noise. A limiter, which moves all LEDs together, is not
noise either.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from emulator.description.display import Display
from harness.result.finding import Finding
from harness.timing.answers import FIRST, Answers, Indices
from harness.timing.sequence import PICTURES
from harness.timing.words import Places, finding

_MOST = 32  # drive steps apart: more is something else
_OFTEN = 0.1  # share of the lit channels' answers that must differ
_EVERYWHERE = 0.8  # share of the LEDs that must be affected
_SAME = 0.9  # of the answers repeat: they follow the order, not chance
_TOGETHER = 6.0  # times the spread of frames' means that independent LEDs would give


@dataclass(frozen=True)
class Noise:
    """apart: drive steps between the brightest and the darkest answer to one picture, at most.

    share: of all answers, those that are not what the LED showed most often. rms: drive steps.
    """

    apart: int
    share: float
    rms: float

    @property
    def each_way(self) -> float:
        """Drive steps up and down."""
        return self.apart / 2

    @property
    def words(self) -> str:
        """'noise of ±2 steps'; one step alone is what dithering does."""
        if self.apart == 1:
            return "drives differ by one step, as by dithering"
        return f"noise of ±{self.each_way:g} drive steps"


def noise_of(answers: Answers, lags: Indices) -> Noise | None:
    """The noise in answers that are late by `lags` (N,).

    None if the answers are always the same, or differ in another way than by noise.
    """
    if _comes_again(answers):
        return None
    offs, apart = [], np.zeros(answers.levels.shape[1:], dtype=np.int64)
    means = []
    for lag in np.unique(lags).tolist():
        leds = np.flatnonzero(lags == lag)
        asked = answers.asked(max(lag, 0))
        for picture in np.unique(answers.order):
            times = np.flatnonzero(asked == picture)
            of_one = answers.levels[times[times >= max(FIRST, lag)]][:, leds]
            if len(of_one) < 2:
                continue
            apart[leds] = np.maximum(apart[leds], np.ptp(of_one, axis=0))
            off = of_one - np.median(of_one, axis=0)
            free = (of_one > 0) & (of_one < 255)  # answers cut off at 0 or 255 are not symmetric
            offs.append(off[free])
            means.append(
                np.where(free, off, 0.0).sum(axis=(1, 2)) / np.maximum(free.sum((1, 2)), 1)
            )
    if not offs or not 0 < apart.max() <= _MOST:
        return None
    every = np.concatenate(offs)
    share = float((np.abs(every) > 0.25).mean()) if every.size else 0.0
    rms = float(np.sqrt((every**2).mean())) if every.size else 0.0
    everywhere = (apart > 0).any(axis=-1).mean()
    if share < _OFTEN or everywhere < _EVERYWHERE:
        return None
    together = float(np.concatenate(means).var()) * every.size / len(np.concatenate(means))
    if together > _TOGETHER * rms**2:
        return None
    return Noise(int(apart.max()), share, rms)


def _comes_again(answers: Answers) -> bool:
    """Whether the same pictures in the same order gave the same answers, so not by chance."""
    again = PICTURES**2
    first, second = answers.levels[FIRST:again], answers.levels[again + FIRST : 2 * again]
    if len(second) < len(first):
        return False
    return bool((first == second).all(axis=-1).mean() > _SAME)


def noise_findings(noise: Noise | None, display: Display, places: Places) -> list[Finding]:
    """The finding on noise that leaves the answers steady enough to judge the rest."""
    if noise is None or display.canvas.dither:
        return []
    declare = "\nOr, if it is dithering, write in the display file:\n[canvas]\ndither = true"
    return [
        finding(
            f"the same picture gives different bytes: {noise.words}",
            places.name(np.arange(len(display.wiring))),
            f"drives up to {noise.apart} steps apart, {noise.rms:.1f} steps root mean square;"
            f" {noise.share:.0%} of the answers differ from the median",
            "look for random numbers in the code; the same picture must give the same bytes."
            f"{declare}",
            "note" if noise.apart == 1 else "warning",
        )
    ]
