"""A network whose + and ground conductors differ: each a graph of its own, joined by the loads.

The unknowns are the potentials of + and of ground at all nodes, against the joined grounds of the
supplies. A load takes its current from + and gives it to ground; a supply does the reverse.

Every node has a leak to the supplies' ground, so that a part that an open joint cuts off has a
potential; it carries nanoamperes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Floats
from emulator.power.elimination import Elimination, Factors, RowSum
from emulator.power.load import Loads
from emulator.power.network import GROUNDED_S, SLOPE_FLOOR_S, Network
from emulator.power.supplied import Law

if TYPE_CHECKING:
    from emulator.power.solve import Rails

LEAK_S = 1e-10


@lru_cache(maxsize=4)
def _elimination(nodes: int, ends: bytes) -> Elimination:
    """The solver of a shape; walls that differ in their faults alone share it."""
    return Elimination(nodes, np.frombuffer(ends, dtype=np.int64).reshape(-1, 2))


class Graphs:
    """Both conductors of a network of M nodes: + at 0…M-1, ground at M…2M-1."""

    def __init__(self, network: Network) -> None:
        self.network, self.nodes = network, network.nodes
        self.ends = np.concatenate([network.ends, network.ends + network.nodes])
        # A load or supply between + and ground of its node.
        self.across = np.concatenate([np.arange(network.leds), network.terminals])
        self.shunt_s = np.full(2 * self.nodes, LEAK_S)
        self.shunt_s[network.terminals + self.nodes] = GROUNDED_S
        self._to_ends = RowSum(self.ends[:, 0]), RowSum(self.ends[:, 1])

    @cached_property
    def elimination(self) -> Elimination:
        """The solver: both conductors, then the loads and supplies across them."""
        across = np.stack([self.across, self.across + self.nodes], axis=1)
        return _elimination(2 * self.nodes, np.concatenate([self.ends, across]).tobytes())

    def outflow_a(self, volts: Floats, lines_s: Floats) -> Floats:
        """Current (2M, T) that leaves each node through conductors and leaks, A.

        lines_s: (2E, T) of the conductors, S.
        """
        a, b = self.ends.T
        flow = volts.take(a, axis=0)
        flow -= volts.take(b, axis=0)
        flow *= lines_s
        out = volts * self.shunt_s[:, None]
        self._to_ends[0].add(out, flow)
        self._to_ends[1].add(out, -flow)
        return np.asarray(out)


@lru_cache(maxsize=4)
def graphs_of(network: Network) -> Graphs:
    """The graphs of a network, made once for all its frames."""
    return Graphs(network)


@dataclass(frozen=True, eq=False)
class Conductors:
    """F and its slope for a block of T frames, each on a wall of its own, all of one shape.

    lines_s: (2E, T) the conductors, + first, S. law: what the supplies are.
    """

    graphs: Graphs
    loads: Loads
    lines_s: Floats
    law: Law

    @classmethod
    def of(cls, graphs: Graphs, loads: Loads, networks: Sequence[Network], law: Law) -> Conductors:
        """The problem of T frames with a network each, or one for all."""
        grounds = [n.ohm if n.ground_ohm is None else n.ground_ohm for n in networks]
        pairs = zip(networks, grounds, strict=True)
        lines_s = 1 / np.stack([np.concatenate([n.ohm, ground]) for n, ground in pairs], axis=1)
        shape = len(lines_s), law.cap.shape[1]
        return cls(graphs, loads, np.broadcast_to(lines_s, shape), law)

    def frames(self, which: NDArray[np.intp]) -> Conductors:
        """The problem of some of the frames."""
        loads, law = self.loads.frames(which), self.law.frames(which)
        return Conductors(self.graphs, loads, self.lines_s[:, which], law)

    def start(self, before: Rails | None) -> Floats:
        """Potentials (2M, T) to start from: those before, or no drop anywhere."""
        network, nodes, frames = self.graphs.network, self.graphs.nodes, self.law.cap.shape[1]
        if before is not None and before.ground_volts.size:
            ground = before.ground_volts[-1:].T
            return np.repeat(np.concatenate([ground + before.node_volts[-1:].T, ground]), frames, 1)
        volts = np.zeros((2 * nodes, frames))
        volts[:nodes] = self.law.volts.max(axis=0)
        volts[network.terminals] = self.law.volts
        return volts

    def pairs(self, volts: Floats) -> Floats:
        """Volts (M, T) between + and ground of each node."""
        return np.asarray(volts[: self.graphs.nodes] - volts[self.graphs.nodes :])

    def lines(self, volts: Floats) -> Floats:
        """Current (2M, T) that the conductors take from each node."""
        return self.graphs.outflow_a(volts, self.lines_s)

    def elements(self, volts: Floats) -> Floats:
        """Current (2M, T) that loads and supplies take from each node."""
        network, nodes = self.graphs.network, self.graphs.nodes
        pairs = self.pairs(volts)
        out = np.zeros_like(volts)
        out[: network.leds] = self.loads.current_a(pairs[: network.leds])
        out[network.terminals] = -self.law.supplied(pairs[network.terminals])[0]
        out[nodes:] = -out[:nodes]
        return np.asarray(out)

    def factors(self, volts: Floats) -> Factors:
        """F′, with which Newton's step is solved."""
        graphs, network = self.graphs, self.graphs.network
        pairs = self.pairs(volts)
        slope = np.concatenate(
            [
                self.loads.slope_s(pairs[: network.leds]),
                self.law.supplied(pairs[network.terminals])[1],
            ]
        )
        edges_s = np.concatenate([self.lines_s, np.maximum(slope, SLOPE_FLOOR_S)])
        shunt_s = np.repeat(graphs.shunt_s[:, None], volts.shape[1], axis=1)
        return graphs.elimination.factors(edges_s, shunt_s)

    def taken_a(self, elements: Floats) -> Floats:
        """Current (T,) of all LEDs, of what `elements` gives."""
        return np.asarray(elements[: self.graphs.network.leds].sum(axis=0))

    def ground(self, volts: Floats) -> Floats:
        """Potential (M, T) of the ground conductor above the supplies' ground."""
        return np.asarray(volts[self.graphs.nodes :])
