"""Which steps of a test pattern are not shown as meant."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bools, Ints
from emulator.picture.srgb import srgb_to_linear
from harness.patterns.pattern import Pattern
from harness.subject.trial import Trial

LEAST_LIT = 1 / 255  # share of full light: what is not above it is dark
FAINT = 1.5 / 255  # the same where nothing is meant to be lit
_MEANT_LIT = srgb_to_linear(np.arange(256) / 255) > 0.5


@dataclass
class Steps:
    """The wrong steps of a pattern, each with one LED that is wrong there, in words.

    pictures: how many were sent. complete: whether there is no other wrong step.
    """

    wrong: dict[int, str] = field(default_factory=dict)
    pictures: int = 0
    complete: bool = True


def judge_alone(
    trial: Trial, pattern: Pattern, steps: Sequence[int], into: Steps
) -> dict[int, Ints]:
    """Show steps of a pattern, each in a picture of its own. Raises SubjectError.

    Returns, of each wrong step, the LEDs (of `trial.judged`) that are lit or dark wrongly.
    """
    placed, wiring = trial.display.wiring.placed, trial.judged.wiring
    found: dict[int, Ints] = {}
    for block, seen in trial.show_steps(pattern, steps):
        into.pictures += len(block)
        meant, light = seen.meant[:, placed], seen.light[:, placed]
        wrong = differs(meant, light)
        for at in np.flatnonzero(wrong.any(axis=1)).tolist():
            found[block[at]] = np.flatnonzero(wrong[at])
            led = int(found[block[at]][0])
            into.wrong[block[at]] = (
                f"column {wiring.column[led]}, row {wiring.row[led]} was meant"
                f" {_colour(meant[at, led])} and shows"
                f" {_colour(np.round(255 * light[at, led].clip(0, 1)))}"
            )
    return found


def differs(colours: NDArray[np.uint8], light: NDArray[np.float32]) -> Bools:
    """(T, N) whether a channel meant to be lit is dark, or the other way round.

    colours: (T, N, 3) sRGB meant; light: (T, N, 3) seen.
    Lit means above half of the brightest light of that step, so dimming code passes. A channel that
    was meant to be lit is compared with its own brightest light, so white-balancing code passes
    too. If nothing was meant to be lit, anything above one drive step is wrong.
    """
    meant = _MEANT_LIT[colours]
    own = light.max(axis=1, keepdims=True)
    peak = np.where(meant.any(axis=1, keepdims=True), own, own.max(axis=2, keepdims=True))
    anything = meant.any(axis=(1, 2), keepdims=True)
    lit = light > np.where(anything, np.maximum(peak / 2, LEAST_LIT), FAINT)
    return np.asarray((lit != meant).any(axis=-1))


def _colour(rgb: NDArray[np.generic]) -> str:
    red, green, blue = (int(v) for v in rgb)
    return f"#{red:02x}{green:02x}{blue:02x}"
