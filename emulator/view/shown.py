"""What the LEDs of a bench show at one moment, and the current from the supplies."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emulator.bench import Bench
from emulator.view.status import Supply


@dataclass(frozen=True, eq=False)
class Shown:
    """drives: (N, C) in the order of chip.channels. light: (N, 3) linear light."""

    drives: NDArray[np.uint8]
    light: NDArray[np.float32]
    supply: Supply

    @classmethod
    def of(cls, bench: Bench) -> Shown:
        """What the bench shows now."""
        power, rated_a = bench.power, bench.network.supply_amps
        supply = Supply(
            current_a=float(power.rails.total_current_a[0]),
            rated_a=float(rated_a.sum()),
            limit_a=bench.display.power.limit_a,
            lowest_v=float(power.rails.led_volts.min()),
            off=not power.on.all(),
            full=bool((power.rails.supply_current_a[0] > rated_a * (1 - 1e-6)).any()),
            nominal_v=float(bench.network.supply_volts.max()),
        )
        return cls(bench.drives, bench.light, supply)
