"""While a test has a bench, an output at `memory:` sends to it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np

from emulator.bench import Bench
from emulator.clock import Clock
from emulator.description.display import Display
from emulator.ports.memory import MemoryOutput
from harness.simulated.watched import WatchedBench


@contextmanager
def bench_at_memory(display: Display, clock: Clock) -> Iterator[WatchedBench]:
    """A bench of the display on a clock. Until the block ends, `memory:` opens this bench.

    For another display, `memory:` opens a bench of that one on the same clock.
    """
    watched = WatchedBench(display, clock)

    def opens(wanted: Display) -> MemoryOutput:
        same = wanted.chip == display.chip and np.array_equal(
            wanted.wiring.cell, display.wiring.cell
        )
        return BenchOutput(watched if same else WatchedBench(wanted, clock))

    with MemoryOutput.opened_by(opens):
        yield watched


class BenchOutput(MemoryOutput):
    """An output at `memory:` that sends to the bench of the test."""

    def __init__(self, bench: Bench) -> None:
        super().__init__(bench.display)
        self.bench = bench
