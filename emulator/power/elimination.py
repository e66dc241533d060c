"""Solves resistor networks of one shape, for a stack of frames whose loads differ.

The star-mesh transformation removes nodes round by round. A node has conductances g to its
neighbours and s to 0 V, and y = s + Σ g. Without it there is g_i g_j / y between its neighbours and
g_i s / y from each to 0 V, and each takes g_i / y of the current fed into it. Nothing is
subtracted, so no accuracy is lost, however unequal the resistances are.

Each round removes nodes that do not touch, those with the fewest neighbours first. One calculation
does it for all of them and all frames. A chain of n LEDs is gone after log2 n rounds (`chains`);
the work grows linearly with LEDs and frames for strips fed at any number of places along any number
of buses.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from emulator.arrays import Floats, Ints
from emulator.power.chains import Taken, joints_of, take_chains

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
        if rows.shape[1] == 1:  # a frame alone: numpy has calls for it, one better for few rows
            if 4 * len(rows) < len(into):
                np.add.at(into[:, 0], self._target, rows[:, 0])
            else:
                into[:, 0] += np.bincount(self._target, rows[:, 0], len(into))
            return
        for source, target in self._passes:
            some = rows.take(source, axis=0)
            into[target] += np.add.reduceat(some, self._begins, axis=0) if self._many else some


@dataclass(frozen=True, eq=False)
class _Round:
    """Nodes removed together, n of them with k neighbours each.

    Nodes and edges are numbered in the order in which they go, so those of a round are slices. The
    edges go by neighbour: those to the first neighbour of each node, then to the second, and so on.
    `to_others` and `to_edges` add to what is left after the round.
    """

    nodes: slice
    edges: slice
    neighbours: int
    other: Ints  # (k · n,) the node at the other end of each edge
    pairs: tuple[Ints, Ints]  # (P,) one and the other of each two neighbours, of 0…k-1
    to_others: RowSum
    to_edges: RowSum

    @property
    def shape(self) -> tuple[int, int]:
        """(k, n)."""
        return self.neighbours, self.nodes.stop - self.nodes.start


class Elimination:
    """The order in which the nodes of a network are removed.

    ends: (E, 2) node numbers 0…nodes-1 of each resistor.
    """

    def __init__(self, nodes: int, ends: Ints) -> None:
        joints, slot = joints_of(nodes, ends)
        taken = take_chains(joints)
        count = joints.count
        left = np.flatnonzero(joints.alive).tolist()
        near: dict[int, dict[int, int]] = {node: {} for node in left}
        for (a, b), number in zip(joints.ends.tolist(), joints.number.tolist(), strict=True):
            near[a][b] = near[b][a] = number
        while left:
            some = _untouching(left, near)
            for neighbours in sorted({len(near[node]) for node in some}):
                alike = [node for node in some if len(near[node]) == neighbours]
                one, count = _take_out(alike, near, count)
                taken.append(one)
            gone = set(some)
            left = [node for node in left if node not in gone]
        self.nodes, self.slots = nodes, count
        order = np.concatenate([one.node for one in taken])
        self._place = _inverse(order)  # of each node, in the order of removal
        edge_place = _inverse(np.concatenate([one.edge for one in taken]))
        self._to_slots = RowSum(edge_place[slot])
        self._rounds: list[_Round] = []
        node_end = edge_end = 0
        for one in taken:
            node_begin, node_end = node_end, node_end + len(one.node)
            edge_begin, edge_end = edge_end, edge_end + len(one.edge)
            other = self._place[one.other]
            neighbours = len(one.edge) // len(one.node)
            self._rounds.append(
                _Round(
                    slice(node_begin, node_end),
                    slice(edge_begin, edge_end),
                    neighbours,
                    other,
                    np.triu_indices(neighbours, 1),
                    RowSum(other - node_end),
                    RowSum(edge_place[one.target] - edge_end),
                )
            )

    def factors(self, edge_s: Floats, shunt_s: Floats) -> Factors:
        """The network with these conductances, ready to be solved for any currents.

        edge_s: conductance of each resistor (E,) or (E, T), S. shunt_s: conductance of each node
        to 0 V (M, T), S; every connected part of the network needs a value above 0.
        """
        frames = shunt_s.shape[1]
        edge = np.zeros((self.slots, 1 if edge_s.ndim == 1 else frames))
        self._to_slots.add(edge, edge_s[:, None] if edge_s.ndim == 1 else edge_s)
        if edge.shape[1] < frames:
            edge = np.repeat(edge, frames, axis=1)
        shunt = np.empty_like(shunt_s)
        shunt[self._place] = shunt_s
        kept: list[tuple[Floats, Floats]] = []
        for r in self._rounds:
            at_edge = edge[r.edges].reshape(*r.shape, frames)
            at_node = shunt[r.nodes]
            total = at_node.copy()
            for some in at_edge:
                total += some
            share = at_edge / total
            r.to_others.add(shunt[r.nodes.stop :], (share * at_node).reshape(-1, frames))
            first, second = r.pairs
            if first.size:
                joined = share[first] * at_edge[second]
                r.to_edges.add(edge[r.edges.stop :], joined.reshape(-1, frames))
            kept.append((share, 1 / total))
        return Factors(self._place, self._rounds, kept)


@dataclass(frozen=True, eq=False)
class Factors:
    """A network without its currents.

    place: (M,) where each node is in the order of removal. kept: for each round, the shares
    (k, n, T) of the neighbours of the nodes removed, and 1 / y (n, T) of these nodes.
    """

    place: Ints
    rounds: list[_Round]
    kept: list[tuple[Floats, Floats]]

    def solve(self, inject_a: Floats) -> Floats:
        """Potentials (M, T) of the nodes against 0 V, in volts, for currents (M, T) fed in, in A.

        T is as in the conductances; if they have one frame, T is any number.
        """
        volts = np.empty_like(inject_a)
        volts[self.place] = inject_a
        frames = volts.shape[1]
        for r, (share, per_s) in zip(self.rounds, self.kept, strict=True):
            fed = volts[r.nodes]
            r.to_others.add(volts[r.nodes.stop :], (share * fed).reshape(-1, frames))
            fed *= per_s
        for r, (share, _) in zip(reversed(self.rounds), reversed(self.kept), strict=True):
            others = volts.take(r.other, axis=0).reshape(*r.shape, frames)
            others *= share
            own = volts[r.nodes]
            for some in others:
                own += some
        return volts.take(self.place, axis=0)


def _inverse(order: Ints) -> Ints:
    place = np.empty_like(order)
    place[order] = np.arange(len(order))
    return place


def _untouching(left: list[int], near: dict[int, dict[int, int]]) -> list[int]:
    """Nodes with the fewest neighbours, none of which is a neighbour of another."""
    most = max(2, min(len(near[node]) for node in left))
    taken: list[int] = []
    touched: set[int] = set()
    for node in left:
        if len(near[node]) <= most and node not in touched:
            taken.append(node)
            touched.update(near[node])
    return taken


def _take_out(taken: list[int], near: dict[int, dict[int, int]], count: int) -> tuple[Taken, int]:
    """Remove nodes from `near`, all with as many neighbours, and join the neighbours of each by
    edges, new ones numbered from `count` on. Returns what was taken, and the new count."""
    edge: list[list[int]] = []
    other: list[list[int]] = []
    target: list[list[int]] = []
    for node in taken:
        neighbours, edges = list(near[node]), list(near[node].values())
        for neighbour in neighbours:
            del near[neighbour][node]
        joined = []
        for a, b in combinations(neighbours, 2):
            if b not in near[a]:
                near[a][b] = near[b][a] = count
                count += 1
            joined.append(near[a][b])
        edge.append(edges)
        other.append(neighbours)
        target.append(joined)
    by_neighbour = (np.array(rows, dtype=np.int64).T.ravel() for rows in (edge, other, target))
    return Taken(np.array(taken, dtype=np.int64), *by_neighbour), count
