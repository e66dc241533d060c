"""The state of a search: what the LEDs are predicted to show, next to what was seen."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Ints
from harness.explain.operations import Operation
from harness.explain.wall import LED_KINDS, Kind, Wall

# Operations to apply one after the other.
Proposal = tuple[Operation, ...]


@dataclass(frozen=True, eq=False)
class Seen:
    """What was seen on a wall: source (N,), as read_codes gives it.

    judged: the operations judged so far, and whether most of what they name is wrong.
    """

    wall: Wall
    source: Ints
    judged: dict[Operation, bool] = field(default_factory=dict)
    _open: dict[Kind, NDArray[np.bool_]] = field(default_factory=dict)

    @cached_property
    def wrong(self) -> NDArray[np.bool_]:
        """(N,) True where an LED shows another cell than its own."""
        wrong: NDArray[np.bool_] = self.source != self.wall.wiring.cell
        return wrong

    def mostly_wrong(self, kind: Kind) -> NDArray[np.bool_]:
        """(G,) True for each piece of which at least half of the LEDs are wrong."""
        if kind not in self._open:
            pieces = self.wall.pieces(LED_KINDS.get(kind, kind))
            groups = len(self.wall.pieces(kind))  # rows that are all gap hold no LED
            wrong = np.bincount(pieces.group[self.wrong], minlength=groups)
            held = np.bincount(pieces.group, minlength=groups)
            self._open[kind] = (2 * wrong >= held) & (held > 0)
        return self._open[kind]


@dataclass(frozen=True, eq=False)
class State:
    """A prediction (N,) next to what was seen."""

    seen: Seen
    prediction: Ints

    @property
    def wall(self) -> Wall:
        return self.seen.wall

    @property
    def source(self) -> Ints:
        return self.seen.source

    @cached_property
    def right(self) -> NDArray[np.bool_]:
        """(N,) True where the prediction is what was seen."""
        right: NDArray[np.bool_] = self.wall.as_seen(self.prediction) == self.source
        return right

    @cached_property
    def left(self) -> int:
        """LEDs that the prediction gets wrong."""
        return len(self.right) - int(np.count_nonzero(self.right))

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
        return State(self.seen, prediction)
