"""Solves resistor networks of one shape, for a stack of frames whose loads differ.

The star-mesh transformation removes nodes round by round. A node has conductances g to its
neighbours and s to 0 V, and y = s + Σ g. Without it there is g_i g_j / y between its neighbours and
g_i s / y from each to 0 V, and each takes g_i / y of the current fed into it. Nothing is
subtracted, so no accuracy is lost, however unequal the resistances are.

Each round removes nodes that do not touch, those with the fewest neighbours first. One calculation
does it for all of them and all frames. A chain of n LEDs is gone after log2 n rounds; the work
grows linearly with LEDs and frames for strips fed at any number of places along any number of
buses.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from emulator.arrays import Floats, Ints

_MOST_PASSES = 4  # measured on walls of 10,000 LEDs, with and without a bus


class RowSum:
    """Adds rows of one array to rows of another, some rows several times. target: (R,)."""

    def __init__(self, target: Ints) -> None:
        self._target = target
        order = np.argsort(target, kind="stable")
        ordered = target[order]
        first = np.searchsorted(ordered, ordered)
        nth = np.arange(target.size) - first  # how often this target occurred before
        passes = nth.max(initial=-1) + 1
        # One pass for each repetition is the fastest, unless few targets repeat many times.
        self._many = bool(passes > _MOST_PASSES)
        if self._many:
            self._begins = np.flatnonzero(nth == 0)
            self._passes = [(order, ordered[self._begins])]
        else:
            self._passes = [(order[nth == n], ordered[nth == n]) for n in range(passes)]

    def add(self, into: Floats, rows: Floats) -> None:
        """Add row i of `rows` to row target[i] of `into`, for every i."""
        if rows.shape[1] == 1:  # a frame alone: numpy has one call for it
            into[:, 0] += np.bincount(self._target, rows[:, 0], len(into))
            return
        for source, target in self._passes:
            some = rows[source]
            into[target] += np.add.reduceat(some, self._begins, axis=0) if self._many else some


@dataclass(frozen=True, eq=False)
class _Round:
    """Nodes removed together; owner, edge and other have an entry for each edge at them."""

    node: Ints
    owner: Ints
    edge: Ints
    other: Ints
    pair: tuple[Ints, Ints]
    to_owner: RowSum
    to_other: RowSum
    to_edge: RowSum


class Elimination:
    """The order in which the nodes of a network are removed.

    ends: (E, 2) node numbers 0…nodes-1 of each resistor.
    """

    def __init__(self, nodes: int, ends: Ints) -> None:
        self.nodes = nodes
        near: list[dict[int, int]] = [{} for _ in range(nodes)]
        count = 0
        slot = np.empty(len(ends), dtype=np.int64)
        for number, (a, b) in enumerate(ends.tolist()):
            if b not in near[a]:
                near[a][b] = near[b][a] = count
                count += 1
            slot[number] = near[a][b]
        self._slot = slot
        self._rounds: list[_Round] = []
        left = list(range(nodes))
        while left:
            taken = _untouching(left, near)
            made, count = _take_out(taken, near, count)
            self._rounds.append(made)
            gone = set(taken)
            left = [node for node in left if node not in gone]
        self._slots = count

    def factors(self, edge_s: Floats, shunt_s: Floats) -> Factors:
        """The network with these conductances, ready to be solved for any currents.

        edge_s: conductance of each resistor (E,) or (E, T), S. shunt_s: conductance of each node
        to 0 V (M, T), S; every connected part of the network needs a value above 0.
        """
        joined = np.zeros((self._slots, *edge_s.shape[1:]))
        np.add.at(joined, self._slot, edge_s)
        frames = shunt_s.shape[1]
        edge = joined if joined.ndim == 2 else np.repeat(joined[:, None], frames, axis=1)
        shunt = shunt_s.copy()
        kept: list[tuple[Floats, Floats]] = []
        for r in self._rounds:
            at_edge = edge[r.edge]
            at_node = shunt[r.node]
            total = at_node.copy()
            r.to_owner.add(total, at_edge)
            share = at_edge / total[r.owner]
            r.to_other.add(shunt, at_node[r.owner] * share)
            r.to_edge.add(edge, share[r.pair[0]] * at_edge[r.pair[1]])
            kept.append((share, 1 / total))
        return Factors(self.nodes, self._rounds, kept)


@dataclass(frozen=True, eq=False)
class Factors:
    """A network without its currents: in each round, the shares of the neighbours of the nodes
    removed, and 1 / y of these nodes."""

    nodes: int
    rounds: list[_Round]
    kept: list[tuple[Floats, Floats]]

    def solve(self, inject_a: Floats) -> Floats:
        """Potentials (M, T) of the nodes against 0 V, in volts, for currents (M, T) fed in, in A.

        T is as in the conductances; if they have one frame, T is any number.
        """
        fed = inject_a.copy()
        own: list[Floats] = []
        for r, (share, per_s) in zip(self.rounds, self.kept, strict=True):
            at_node = fed[r.node]
            r.to_other.add(fed, at_node[r.owner] * share)
            own.append(at_node * per_s)
        volts = np.zeros_like(fed)
        rounds = zip(self.rounds, self.kept, own, strict=True)
        for r, (share, _), some in reversed(list(rounds)):
            r.to_owner.add(some, share * volts[r.other])
            volts[r.node] = some
        return volts


def _untouching(left: list[int], near: list[dict[int, int]]) -> list[int]:
    """Nodes with the fewest neighbours, none of which is a neighbour of another."""
    most = max(2, min(len(near[node]) for node in left))
    taken: list[int] = []
    touched: set[int] = set()
    for node in left:
        if len(near[node]) <= most and node not in touched:
            taken.append(node)
            touched.update(near[node])
    return taken


def _take_out(taken: list[int], near: list[dict[int, int]], count: int) -> tuple[_Round, int]:
    """Remove nodes from `near`, and join their neighbours by edges numbered from `count` on."""
    owner: list[int] = []
    edge: list[int] = []
    other: list[int] = []
    pairs: list[tuple[int, int, int]] = []
    for index, node in enumerate(taken):
        begin = len(owner)
        neighbours = list(near[node].items())
        for neighbour, number in neighbours:
            owner.append(index)
            edge.append(number)
            other.append(neighbour)
            del near[neighbour][node]
        for (i, (a, _)), (j, (b, _)) in combinations(enumerate(neighbours, begin), 2):
            if b not in near[a]:
                near[a][b] = near[b][a] = count
                count += 1
            pairs.append((i, j, near[a][b]))
    first, second, target = np.array(pairs, dtype=np.int64).reshape(-1, 3).T
    owners, others = np.array(owner, dtype=np.int64), np.array(other, dtype=np.int64)
    made = _Round(
        np.array(taken, dtype=np.int64),
        owners,
        np.array(edge, dtype=np.int64),
        others,
        (first, second),
        RowSum(owners),
        RowSum(others),
        RowSum(target),
    )
    return made, count
