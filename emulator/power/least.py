"""Volts that LEDs get at least, for many walls at once: if every channel holds its full current.

A channel takes less than its nominal current once it lacks headroom, never more (power/load.py),
and more current anywhere lowers the volts everywhere. So the linear network with nominal currents
gives a lower bound. Where the bound leaves every channel its headroom, it is the solution itself,
and every LED gives the light that its drive asks for.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from emulator.arrays import Bytes, Floats
from emulator.canvas import current_a
from emulator.description.chips import Chip
from emulator.power.network import GROUNDED_S, Network


@dataclass(frozen=True, eq=False)
class Least:
    """Of F walls. volts: (F, N) between + and ground of each LED. supply_a: (F, S) what each supply
    gives then."""

    volts: Floats
    supply_a: Floats


def nominal_a(drives: Bytes, chip: Chip) -> Floats:
    """Current (…, N) of LEDs with drives (…, N, C) that have all the headroom they need, A."""
    return current_a(drives[..., None, :], chip)


def enough_v(chip: Chip) -> float:
    """Volts from which on every channel of a chip holds its current."""
    return float(max(chip.channel_forward_v) + chip.dropout_v)


class Lines:
    """The wires of F walls of one shape, which may differ in ohms and supplies, factored once.

    A supply of its own resistance is taken to drop as much as the one that drops most.
    """

    def __init__(self, networks: Sequence[Network]) -> None:
        self._one = one = networks[0]
        self._supply_v = np.stack([network.supply_volts for network in networks], axis=1)
        self._supply_ohm = np.stack([network.supply_ohm for network in networks], axis=1)
        self._held = np.zeros((one.nodes, len(networks)))
        self._held[one.terminals] = GROUNDED_S
        self._plus_s, ground_s = _conductances(networks)
        self._plus = one.shape.factors(self._plus_s, self._held)
        self._ground = one.shape.factors(ground_s, self._held)

    def least(self, taken_a: Floats) -> Least:
        """What LEDs get if they take these currents (F, N), whatever their volts."""
        one = self._one
        out = np.zeros_like(self._held)
        out[: one.leds] = taken_a.T
        fed = self._held.copy()
        fed[one.terminals] *= self._supply_v
        plus, ground = self._plus.solve(fed - out), self._ground.solve(out)
        a, b = one.ends.T
        flow = (plus[a] - plus[b]) * self._plus_s
        supply_a = np.stack(
            [flow[a == node].sum(axis=0) - flow[b == node].sum(axis=0) for node in one.terminals]
        )
        lost_v = (self._supply_ohm * np.maximum(supply_a, 0)).max(axis=0)
        return Least(((plus - ground)[: one.leds] - lost_v).T, supply_a.T)


def _conductances(networks: Sequence[Network]) -> tuple[Floats, Floats]:
    """(E, F) each: of + and of ground, S."""
    plus = [network.ohm for network in networks]
    ground = [n.ohm if n.ground_ohm is None else n.ground_ohm for n in networks]
    return 1 / np.stack(plus, axis=1), 1 / np.stack(ground, axis=1)
