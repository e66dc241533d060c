"""What the power model expects: volts at the far end of each run, fuses, currents, heat."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from emulator.arrays import Floats
from emulator.description.display import Display
from emulator.power.network import build_network
from emulator.power.solve import solve_rails
from emulator.power.worst import uniform_drives, worst_frames
from harness.power.assessment import Assessment
from harness.power.calculation import assess


@dataclass(frozen=True, eq=False)
class Expected:
    """The power figures of a display that a builder measures or needs."""

    display: Display

    @cached_property
    def assessment(self) -> Assessment:
        """The figures of `foreglow power`."""
        return assess(self.display)

    @cached_property
    def led_volts(self) -> Floats:
        """(2, N) volts of each LED: all dark, and white as bright as the limit allows."""
        network = build_network(self.display)
        white = worst_frames(self.display, network, self.display.power.limit_a)[:1]
        frames = np.concatenate([uniform_drives(self.display, 0.0), white])
        return solve_rails(network, frames, self.display.chip).led_volts

    def far_end(self, run: int) -> tuple[int, float, float]:
        """The LED of a run with the lowest volts, by its number on the line; dark and white."""
        wiring = self.display.wiring
        first = wiring.line_starts[wiring.runs[run].line] + wiring.runs[run].first
        volts = self.led_volts[:, first : first + wiring.runs[run].leds]
        at = int(volts[1].argmin())
        return wiring.runs[run].first + at, float(volts[0, at]), float(volts[1, at])

    @cached_property
    def fuses(self) -> dict[int, float]:
        """Fuses of feeds as `foreglow power` names them, in A, by the feed's number."""
        found = {}
        for use in self.assessment.wires:
            if use.kind == "feed" and use.fuse_a is not None:
                found[int(use.name.split(",")[0].split()[1])] = use.fuse_a
        return dict(sorted(found.items()))

    @cached_property
    def bus_fuses(self) -> dict[str, float]:
        """Fuses of buses as `foreglow power` names them, in A, by the supply's name."""
        return {
            use.name.removeprefix("bus of ").rpartition(", to feed ")[0]: use.fuse_a
            for use in self.assessment.wires
            if use.kind == "supply to bus" and use.fuse_a is not None
        }
