"""The law of supplies: volts held up to the most amperes, then just those at a lower voltage."""

from __future__ import annotations

import numpy as np

from emulator.arrays import Floats
from emulator.power.network import SUPPLY_OHM, Network


def supplied(network: Network, cap: Floats, volts: Floats) -> tuple[Floats, Floats]:
    """Current that each supply gives (S, T), A, and how fast it falls with the voltage, S.

    cap: (S, T) the most that each gives. volts: (M, T) between + and ground of each node.
    """
    nominal = network.supply_volts[:, None]
    ohm = np.maximum(network.source_ohm, SUPPLY_OHM)[:, None]
    asked = (nominal - volts[network.terminals]) / ohm
    holds = (asked >= 0) & (asked < cap)
    return np.clip(asked, 0, cap), holds / ohm
