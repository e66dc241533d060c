"""Noise: drives of one picture that differ a little from frame to frame, each LED by itself.

What [canvas] asks for by `dither` is none. A limiter, which moves all LEDs alike, is none either.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from emulator.description.display import Display
from harness.result.finding import Finding
from harness.timing.answers import FIRST, Answers, Indices
from harness.timing.sequence import PICTURES
from harness.timing.words import Places, finding

_MOST = 32  # drive steps apart: more is no noise but something else
_OFTEN = 0.1  # share of the lit channels' answers that must be off
_EVERYWHERE = 0.8  # share of the LEDs that must be concerned
_SAME = 0.9  # of the answers, where they come again in the same order
_TOGETHER = 6.0  # times the spread of frames' means that LEDs, each by itself, would leave


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
    """The noise in answers that are late by `lags` (N,); None where they are always the same,
    or differ otherwise than by noise.
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
            free = (of_one > 0) & (of_one < 255)  # what is cut off is not even
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
    """Whether the same pictures in the same order gave the same answers: that is no chance."""
    again = PICTURES**2
    first, second = answers.levels[FIRST:again], answers.levels[again + FIRST : 2 * again]
    if len(second) < len(first):
        return False
    return bool((first == second).all(axis=-1).mean() > _SAME)


def noise_findings(noise: Noise | None, display: Display, places: Places) -> list[Finding]:
    """What is said of noise that leaves the answers steady enough to judge the rest."""
    if noise is None or display.canvas.dither:
        return []
    declare = "\nOr, if it is dithering, let the display file say:\n[canvas]\ndither = true"
    return [
        finding(
            f"the same picture gives different bytes: {noise.words}",
            places.name(np.arange(len(display.wiring))),
            f"up to {noise.apart} apart, {noise.rms:.1f} root mean square; {noise.share:.0%} of the"
            " answers are not the one in the middle",
            "look for chance in what is sent; the same picture is to give the same bytes."
            f"{declare}",
            "note" if noise.apart == 1 else "warning",
        )
    ]
