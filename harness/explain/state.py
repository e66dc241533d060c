"""The state of a search: what the LEDs are predicted to show, next to what was seen."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from harness.explain.operations import Operation
from harness.explain.wall import Ints, Wall

# Operations to be applied one after the other.
Proposal = tuple[Operation, ...]


@dataclass(frozen=True, eq=False)
class State:
    """A prediction (N,) next to what was seen (N,)."""

    wall: Wall
    prediction: Ints
    source: Ints

    @cached_property
    def right(self) -> NDArray[np.bool_]:
        """(N,) True where the prediction is what was seen."""
        right: NDArray[np.bool_] = self.wall.as_seen(self.prediction) == self.source
        return right

    @cached_property
    def giver(self) -> Ints:
        """(N,) the LED predicted to show what LED i shows; -1 where there is none."""
        shower = np.full(self.wall.cells + 1, -1, dtype=np.int64)
        cells = self.prediction >= 0
        shower[self.prediction[cells]] = np.flatnonzero(cells)
        giver: Ints = shower[np.maximum(self.source, -1)]
        return giver

    def after(self, proposal: Proposal) -> State:
        """The state after the operations of a proposal."""
        prediction = self.prediction
        for operation in proposal:
            prediction = operation.apply(prediction, self.wall)
        return State(self.wall, prediction, self.source)
