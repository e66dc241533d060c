"""Joints and LEDs that come and go, and how likely answers are of them.

While somebody looks at one picture, such a joint may be whole all the time, open all the time, or
change, so that its LEDs flicker. Open, it looks like the same joint that is always open; or the
LEDs that get no data keep an old picture, or change late. Nobody knows how often and for how
long it opens: three guesses are weighed by how well they explain all answers. All numbers are
assumptions, no source.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from emulator.arrays import Floats, Ints
from emulator.description.display import Display
from emulator.description.faults.fault import Fault
from harness.campaign.campaign import NOW_AND_THEN, single_faults
from harness.find.answer import SLIPS, WEIGHTS

LOOSE_LEDS = ("led-dark", "channel-off")  # a bond within the LED that comes and goes

WHOLE, OPEN, OLD, CHANGES = range(4)  # how a joint may be during a look

# Of each guess: how likely it is, and how often a joint is WHOLE, OPEN or OLD, or CHANGES.
_GUESSES = (0.5, 0.25, 0.25)  # it opens for moments; for long; it is open nearly always
_MOVING = np.array([[0.04, 0.01, 0.95], [0.35, 0.35, 0.3], [0.05, 0.7, 0.25]])
# A still picture that came through stays, so that an open joint of the data does not show.
_STILL = np.array([[0.78, 0.07, 0.15], [0.4, 0.4, 0.2], [0.1, 0.75, 0.15]])


def possible_faults(display: Display) -> tuple[Fault, ...]:
    """All single faults of the campaign, and LEDs that come and go."""
    faults = single_faults(display)
    leds = (one for one in faults if one.name in LOOSE_LEDS)
    return (*faults, *(one.model_copy(update={"share": NOW_AND_THEN}) for one in leds))


class Loose:
    """Those K of the suspects that come and go. numbers, lasting: (K,) their numbers, and those of
    the same faults that are always there; its own, if that is not a suspect. joints, data: (K,)
    which of them are joints, and joints of the data."""

    def __init__(self, suspects: Sequence[Fault], by_chance: Sequence[int]) -> None:
        found = [n for n, one in enumerate(suspects) if one.comes_and_goes]
        at = {str(one): number for number, one in enumerate(suspects)}
        self.numbers: Ints = np.setdiff1d(np.array(found, dtype=np.int64), by_chance)
        some = [suspects[number] for number in self.numbers]
        self.lasting: Ints = np.array(
            [at.get(str(o.lasting()), n) for n, o in zip(self.numbers, some, strict=True)],
            dtype=np.int64,
        )
        self.joints = np.array([one.name not in LOOSE_LEDS for one in some], dtype=np.bool_)
        self.data = np.array([one.name == "data-open" for one in some], dtype=np.bool_)

    def of_look(self, slips: Floats, cells: int, still: bool) -> Floats:
        """(E, G, K) logarithm of the probability of what is said of a picture, for each share of
        slips and each guess. slips: (4, K) from each way a joint may be. cells: that were named."""
        shares = SLIPS[:, None, None]
        each = slips * np.log(shares) + np.maximum(cells - slips, 0) * np.log1p(-shares)
        ways = np.where(self.data[:, None, None] & still, _STILL, _MOVING)  # (K, G, 3)
        weights = ways[..., [WHOLE, OPEN, OPEN, 2]].transpose(1, 2, 0).copy()  # (G, 4, K)
        weights[:, [OPEN, OLD]] *= 0.5
        with np.errstate(divide="ignore"):
            return np.asarray(np.logaddexp.reduce(each[:, None] + np.log(weights), axis=2))

    def log_likelihood(self, looks: Sequence[Floats]) -> Floats:
        """(K,) of all looks together, each as `of_look` gives it."""
        total = np.sum(looks, axis=0) if looks else np.zeros((len(WEIGHTS), 3, len(self.numbers)))
        total = total + np.log(WEIGHTS)[:, None, None] + np.log(_GUESSES)[:, None]
        return np.asarray(np.logaddexp.reduce(total, axis=(0, 1)))
