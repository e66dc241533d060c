"""The law of supplies: volts held up to the most amperes, then just those at a lower voltage."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Floats
from emulator.power.network import Network


@dataclass(frozen=True, eq=False)
class Law:
    """Of S supplies in T frames, (S, T) each: nominal volts, own resistance, most amperes."""

    volts: Floats
    ohm: Floats
    cap: Floats

    @classmethod
    def of(cls, networks: Sequence[Network], cap: Floats) -> Law:
        """The supplies of T networks, or of one for all frames; cap: (S, T)."""
        volts = np.stack([network.supply_volts for network in networks], axis=1)
        ohm = np.stack([network.supply_ohm for network in networks], axis=1)
        return cls(
            np.broadcast_to(volts, cap.shape),
            np.broadcast_to(ohm, cap.shape),
            cap,
        )

    def frames(self, which: NDArray[np.intp]) -> Law:
        """The supplies in some of the frames."""
        return Law(self.volts[:, which], self.ohm[:, which], self.cap[:, which])

    def supplied(self, volts: Floats) -> tuple[Floats, Floats]:
        """Current that each supply gives (S, T), A, and how fast it falls with the voltage, S.

        volts: (S, T) between its terminals.
        """
        asked = (self.volts - volts) / self.ohm
        holds = (asked >= 0) & (asked < self.cap)
        return np.clip(asked, 0, self.cap), holds / self.ohm
