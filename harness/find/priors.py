"""How often each fault is there in a wall that has just been soldered.

All are common practice, no source: guesses from what builders report. Only their ratios matter, and
only until a few answers are in.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

import numpy as np

from emulator.arrays import Floats
from emulator.description.faults.fault import Fault

# Of each place, such as a joint, an LED, a cell, a run. They differ little: nobody has counted, and
# a strong guess would end the questions too early.
PER_PLACE = {
    "data-open": 5e-4,  # soldered by hand, and strained when strips are bent
    "power-joint": 3e-4,
    "feed-missing": 1e-3,
    "feed-joint": 1e-3,
    "bus-joint": 1e-3,
    "led-dark": 2e-4,
    "led-swallows": 2e-4,
    "led-joined": 1e-4,
    "channel-off": 1e-4,
    "channel-on": 1e-4,
    "channel-weak": 1e-4,
    "led-missing": 1e-4,
    "led-extra": 1e-4,
    "run-reversed": 1e-3,
    "run-short": 1e-3,
    "run-long": 1e-3,
    "against-arrow": 3e-4,
    "cover-missing": 1e-4,
    "cover-cracked": 1e-4,
    "front-dirty": 1e-4,
    "led-off-middle": 1e-4,
}
# Of the whole wall, shared by all variants of the kind.
PER_WALL = {
    "runs-exchanged": 3e-2,
    "outputs-exchanged": 1e-2,
    "other-corner": 1e-2,
    "other-chip": 1e-2,
    "other-batch": 1e-2,
    "low-logic": 3e-2,  # of 3.3 V is most of today's controllers
    "no-common-ground": 2e-2,
    "ground-lifted": 5e-3,
    "clock-off": 3e-3,
    "spi-speed": 3e-3,
    "reset-short": 3e-3,
}
RIGHT = 0.02  # that a wall has no fault: whoever searches has mostly seen one
OTHERWISE = 1e-2  # of the whole wall: a kind that is not in these tables


def prior_odds(suspects: Sequence[Fault], places: Mapping[str, int] | None = None) -> Floats:
    """(F,) the odds of each suspect alone against a wall without faults.

    places: of how many a kind has that is not in PER_PLACE; default: as many as there are suspects.
    """
    count = {**Counter(one.name for one in suspects), **(places or {})}
    share = {
        name: PER_PLACE.get(name, PER_WALL.get(name, OTHERWISE) / many)
        for name, many in count.items()
    }
    chance = np.array([share[one.name] for one in suspects])
    return np.asarray(chance / (1 - chance))
