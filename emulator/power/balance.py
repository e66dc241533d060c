"""Where the power goes: currents, drops and losses of every wire, and their sum."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from emulator.arrays import Floats
from emulator.power.network import GROUNDED_S, Network
from emulator.power.solve import Rails


@dataclass(frozen=True, eq=False)
class Balance:
    """Currents, drops and power of T frames and W wires, in the order of `network.wires`.

    wire_current_a: (T, W) in the conductor that carries more; the largest along the rails of a run.
    wire_drop_v: (T, W) difference between the highest and the lowest voltage of the pair along the
    wire: the drop in both conductors. wire_loss_w: (T, W) heat in both conductors. supplied_w: (T,)
    out of the supplies. led_w: (T,) into the LEDs.
    """

    wire_current_a: Floats
    wire_drop_v: Floats
    wire_loss_w: Floats
    supplied_w: Floats
    led_w: Floats

    @property
    def loss_w(self) -> Floats:
        """Heat in all wires, (T,)."""
        return np.asarray(self.wire_loss_w.sum(axis=1))


def balance(network: Network, rails: Rails) -> Balance:
    """Follow the current of each frame through + and ground."""
    volts = rails.node_volts.T
    below = _ground_volts(network, rails)
    a, b = network.ends.T
    ohm = network.ohm[:, None]
    across = volts[a] - volts[b]
    ground_a = (below[b] - below[a]) / ohm
    plus_a = across / ohm - ground_a
    current, drop, heat = np.zeros((3, len(network.wires), volts.shape[1]))
    used, starts = np.unique(network.wire, return_index=True)  # edges are in the order of wires
    if used.size:
        fuller = np.maximum(np.abs(plus_a), np.abs(ground_a))
        current[used] = np.maximum.reduceat(fuller, starts, axis=0)
        heat[used] = np.add.reduceat(ohm * (plus_a**2 + ground_a**2), starts, axis=0)
        most = np.maximum.reduceat(np.maximum(volts[a], volts[b]), starts, axis=0)
        least = np.minimum.reduceat(np.minimum(volts[a], volts[b]), starts, axis=0)
        drop[used] = most - least
    return Balance(
        current.T,
        drop.T,
        heat.T,
        np.asarray((rails.supply_volts * rails.supply_current_a).sum(axis=1)),
        np.asarray((rails.led_volts * rails.led_current_a).sum(axis=1)),
    )


def _ground_volts(network: Network, rails: Rails) -> Floats:
    """Potential (M, T) of ground at each node against the joined grounds of the supplies. [V]"""
    if network.supplies == 1:  # + and ground then have equal currents
        return np.asarray((rails.supply_volts - rails.node_volts).T / 2)
    shunt = np.zeros((network.nodes, 1))
    shunt[network.terminals] = GROUNDED_S
    returned = np.zeros_like(rails.node_volts.T)
    returned[: network.leds] = rails.led_current_a.T
    return network.elimination.factors(network.conductor_s, shunt).solve(returned)
