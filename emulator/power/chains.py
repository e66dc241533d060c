"""Takes the chains out of a network: nodes with one or two neighbours, all in one go a round.

Nearly all nodes of a wall are LEDs along strips. Every other LED can go in the same round, then
every other of the rest: a chain of n LEDs is gone after log2 n rounds, each a few calls of numpy.
What remains is small: the joints of feeds and buses (`elimination`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from emulator.arrays import Bools, Ints

_LEAST = 16  # nodes to take out at a time; for fewer, calls of numpy take longer than a loop


@dataclass(frozen=True, eq=False)
class Taken:
    """Nodes (n,) taken out together, each with k neighbours.

    Edges are numbered: edge, other: (k · n,) each node's first edge and its other end, then each
    node's second, and so on. target: the edge (P · n,) that joins each two of the neighbours from
    then on, in the order of `numpy.triu_indices(k, 1)`.
    """

    node: Ints
    edge: Ints
    other: Ints
    target: Ints


@dataclass(eq=False)
class Joints:
    """What is left of a network: nodes alive (M,), edges (E, 2) with a lower node first, and their
    numbers (E,). count: edges numbered so far."""

    alive: Bools
    ends: Ints
    number: Ints
    count: int


def joints_of(nodes: int, ends: Ints) -> tuple[Joints, Ints]:
    """The whole network of resistors (E, 2), and the edge (E,) of each; parallel ones share it."""
    key, edge = np.unique(np.sort(ends, axis=1) @ [nodes, 1], return_inverse=True)
    number = np.arange(len(key))
    alive = np.ones(nodes, dtype=np.bool_)
    return Joints(alive, np.stack(np.divmod(key, nodes), axis=1), number, len(key)), edge


def take_chains(left: Joints) -> list[Taken]:
    """Take out of `left` what has at most two neighbours, round by round, while that is much."""
    found: list[Taken] = []
    while True:
        degree = np.bincount(left.ends.ravel(), minlength=len(left.alive))
        chosen = _apart(left.alive & (degree <= 2), left)
        if np.count_nonzero(chosen) < _LEAST:
            return found
        found += _take(chosen, degree, left)


def _apart(few: Bools, left: Joints) -> Bools:
    """Many of a few nodes (M,), none of which is a neighbour of another: every other of all that
    are left, where they follow each other along a chain, and those that these do not touch."""
    a, b = left.ends.T
    even = few & ((np.cumsum(left.alive) & 1) == 1)
    even[b[even[a] & even[b]]] = False
    touched = np.zeros_like(few)
    touched[b[even[a]]] = touched[a[even[b]]] = True
    rest = few & ~even & ~touched
    rest[b[rest[a] & rest[b]]] = False
    chosen: Bools = even | rest
    return chosen


def _take(chosen: Bools, degree: Ints, left: Joints) -> list[Taken]:
    """Take the chosen nodes (M,) out, in the order of their numbers of neighbours (M,)."""
    nodes = len(chosen)
    node, other = np.concatenate([left.ends, left.ends[:, ::-1]]).T
    at = np.flatnonzero(chosen[node])
    at = at[np.argsort(node[at], kind="stable")]
    edge, other, times = left.number[at % len(left.number)], other[at], degree[node[at]]
    ends = np.sort(other[times == 2].reshape(-1, 2), axis=1)
    rest = ~chosen[left.ends].any(axis=1)
    kept, number = left.ends[rest] @ [nodes, 1], left.number[rest]
    key, first, which = np.unique(
        np.concatenate([kept, ends @ [nodes, 1]]), return_index=True, return_inverse=True
    )
    new = first >= len(kept)
    numbers = np.where(new, left.count - 1 + np.cumsum(new), 0)
    numbers[~new] = number[first[~new]]
    left.alive &= ~chosen
    left.ends, left.number = np.stack(np.divmod(key, nodes), axis=1), numbers
    left.count += int(np.count_nonzero(new))
    found = []
    for many in range(3):
        some = np.flatnonzero(chosen & (degree == many))
        if some.size:
            edges, others = (
                part[times == many].reshape(-1, max(many, 1)).T.ravel() for part in (edge, other)
            )
            target = numbers[which[len(kept) :]] if many == 2 else some[:0]
            found.append(Taken(some, edges, others, target))
    return found
