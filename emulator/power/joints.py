"""A network with power joints that are not whole: ohms more in one conductor, or in both."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from emulator.arrays import Ints
from emulator.description.faults.built import PowerJoint
from emulator.power.network import Network


def with_joints(network: Network, joints: Sequence[PowerJoint]) -> Network:
    """The network with the ohms of the joints added to their edges.

    `ground_ohm` is set where + and ground differ then; else it stays None.
    """
    plus, ground = network.ohm.copy(), network.ohm.copy()
    for joint in joints:
        edges = _edges(network, joint)
        if joint.conductor != "ground":
            plus[edges] += joint.ohm
        if joint.conductor != "plus":
            ground[edges] += joint.ohm
    alike = np.array_equal(plus, ground)
    return replace(network, ohm=plus, ground_ohm=None if alike else ground)


def _edges(network: Network, joint: PowerJoint) -> Ints:
    if joint.at != "rail":
        which = [
            number
            for number, wire in enumerate(network.wires)
            if (wire.kind, wire.feed) == (joint.at, joint.number)
        ]
        return np.flatnonzero(np.isin(network.wire, which))
    # An edge between two LEDs is a rail or a jumper.
    near = np.array([joint.number, joint.number + 1])
    return np.flatnonzero((network.ends == near).all(axis=1))
