"""The detector of hidden LEDs that a map leaves out."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from harness.explain.hidden import Forgotten
from harness.explain.state import State

_GAIN = 1  # LEDs that it must set right beyond those it sets wrong


def forgotten(state: State) -> Iterator[Forgotten]:
    """Proposals that the map leaves out all hidden LEDs: on lines that fit, on the whole chain."""
    wall = state.wall
    if not wall.wiring.hidden.any():
        return
    lines = tuple(range(wall.lines))
    every = Forgotten(lines)
    changed = np.isin(wall.wiring.line, wall.wiring.line[every.left_out(wall)])
    gain = state.after((every,)).right.astype(np.int64) - state.right
    gains = np.bincount(wall.wiring.line[changed], gain[changed], wall.lines)
    fitting = tuple(line for line in lines if gains[line] > _GAIN)
    if fitting:
        yield Forgotten(fitting)
    if wall.lines > 1:
        yield Forgotten(())
