"""The light of a white picture with [canvas], the current limit and the voltage drop."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from emulator.bench import Bench
from emulator.description.display import Display
from emulator.light.figures import Figures
from emulator.light.primaries import chip_primaries


@dataclass(frozen=True)
class Fed:
    """A white picture with [canvas], the current limit and the voltage drop of the wires.

    Luminance in cd/m², averaged over a cell: mean of all LEDs, and of the dimmest one. contrast:
    that mean over dark, both in the ambient light; None in a dark room.
    """

    mean_cdm2: float
    dimmest_cdm2: float
    contrast: float | None


def white_as_fed(display: Display, found: Figures) -> Fed:
    """The light of a white picture; found: the figures of full white on the display."""
    bench = Bench(display, powered=True)
    bench.send(np.full(display.picture_shape, 255, np.uint8))
    primaries = chip_primaries(display.chip)
    light = bench.light[display.wiring.placed]
    share = primaries.mix(primaries.by_channel(light))[:, 1] / primaries.intensity_cd
    mean, dark = found.mean_cdm2 * float(share.mean()), found.ambient_cdm2
    return Fed(
        mean, found.mean_cdm2 * float(share.min()), None if dark == 0 else (mean + dark) / dark
    )
