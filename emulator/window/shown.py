"""What the LEDs of a bench show at one moment, and what it takes from the supplies."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emulator.bench import Bench
from emulator.window.status import Supply


@dataclass(frozen=True, eq=False)
class Shown:
    """drives: (N, C) in the order of chip.channels. light: (N, 3) linear light."""

    drives: NDArray[np.uint8]
    light: NDArray[np.float32]
    supply: Supply

    @classmethod
    def of(cls, bench: Bench) -> Shown:
        """What the bench shows now."""
        power = bench.power
        supply = Supply(
            current_a=bench.current(),
            rated_a=float(bench.network.supply_amps.sum()),
            limit_a=bench.display.power.limit_a,
            lowest_v=float(bench.rail_volts().min()),
            off=not power.on.all(),
        )
        return cls(bench.drives, bench.light, supply)
