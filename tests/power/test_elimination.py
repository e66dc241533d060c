from __future__ import annotations

from unittest import mock

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from emulator.power import chains
from emulator.power.elimination import Elimination, RowSum


@st.composite
def graphs(draw):
    """Nodes and resistors drawn by chance: trees, loops, doubled edges, lone nodes."""
    nodes = draw(st.integers(1, 14))
    node = st.integers(0, nodes - 1)
    edges = draw(st.lists(st.tuples(node, node).filter(lambda e: e[0] != e[1]), max_size=30))
    return nodes, np.array(edges, dtype=np.int64).reshape(-1, 2)


# Kirchhoff's current law as a dense matrix, solved by LAPACK.
@given(graphs(), st.integers(0, 999), st.sampled_from([1, 3, 16]))
def test_potentials_are_those_of_the_dense_nodal_matrix(graph, seed, least):
    nodes, ends = graph
    rng = np.random.default_rng(seed)
    edge_s = rng.uniform(0.1, 300, len(ends))
    shunt, inject = rng.uniform(1e-3, 1, (nodes, 3)), rng.normal(0, 1, (nodes, 3))
    with mock.patch.object(chains, "_LEAST", least):  # 16: all nodes go one by one
        volts = Elimination(nodes, ends).factors(edge_s, shunt).solve(inject)
    for frame in range(3):
        matrix = np.diag(shunt[:, frame])
        for (a, b), g in zip(ends, edge_s, strict=True):
            matrix[a, a] += g
            matrix[b, b] += g
            matrix[a, b] -= g
            matrix[b, a] -= g
        dense = np.linalg.solve(matrix, inject[:, frame])
        assert volts[:, frame] == pytest.approx(dense, rel=1e-9, abs=1e-9)


# By hand: 2 A into the end of a chain of three resistors of 1, 2 and 3 Ω and then 4 Ω to 0 V.
def test_a_chain_drops_current_times_resistance():
    chain = Elimination(4, np.array([[0, 1], [1, 2], [2, 3]]))
    shunt, inject = np.zeros((4, 1)), np.zeros((4, 1))
    shunt[3], inject[0] = 1 / 4, 2
    volts = chain.factors(1 / np.array([1.0, 2.0, 3.0]), shunt).solve(inject)
    assert volts[:, 0] == pytest.approx([20, 18, 14, 8])


def test_a_long_chain_goes_in_few_rounds():
    nodes = 4096
    ends = np.stack([np.arange(nodes - 1), np.arange(1, nodes)], axis=1)
    # Twelve halvings, each of which removes an end and the nodes between others by themselves.
    assert len(Elimination(nodes, ends)._rounds) <= 28


def test_rows_meant_for_one_target_all_arrive():
    into = np.zeros((3, 2))
    RowSum(np.array([2, 0, 2, 2])).add(into, np.arange(8.0).reshape(4, 2))
    assert into.tolist() == [[2, 3], [0, 0], [10, 13]]


@pytest.mark.parametrize("nodes", [3, 99])
def test_rows_of_a_frame_alone_all_arrive_among_few_nodes_and_many(nodes):
    into = np.zeros((nodes, 1))
    RowSum(np.array([2, 0, 2, 2])).add(into, np.arange(4.0)[:, None])
    assert into[:3, 0].tolist() == [1, 0, 5]
    assert not into[3:].any()
