"""Every fault on every way to wire a wall: long, so not in the default run."""

from __future__ import annotations

import itertools
from typing import get_args

import numpy as np
import pytest

from emulator import shorthand
from emulator.description.wiring import Along, Corner, Path
from harness.explain import explain
from harness.mistakes import FAULTS, as_seen

WAYS = list(itertools.product(get_args(Corner), get_args(Along), get_args(Path), (1, 2)))


@pytest.mark.slow
@pytest.mark.parametrize("way", WAYS, ids=lambda way: "-".join(map(str, way)))
@pytest.mark.parametrize("name", FAULTS)
def test_every_fault_is_reproduced_exactly_on_every_way_to_wire(name, way):
    gap = np.zeros((9, 14), dtype=bool)
    gap[4:6, 6:8] = True
    wiring = shorthand(gap, *way)
    rng = np.random.default_rng(5)
    for _ in range(3):
        fault = FAULTS[name].example(wiring, rng)
        if fault is None:  # this wall does not admit it: a single line cannot be exchanged
            continue
        source = as_seen(fault.apply(wiring.cell, wiring), wiring)
        explanation = explain(wiring, source)
        wrong = np.flatnonzero(explanation.predicted() != source)
        assert wrong.tolist() == explanation.remaining.tolist()
        assert len(explanation.operations) == 1
        assert not explanation.remaining.size
