"""While a test has a bench, an output at `memory:` sends to it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import numpy as np
import pytest

from emulator.bench import Bench
from emulator.clock import Clock
from emulator.description.display import Display
from emulator.ports.address import Address
from emulator.ports.memory import MemoryOutput
from harness.simulated.watched import WatchedBench


@contextmanager
def bench_at_memory(display: Display, clock: Clock) -> Iterator[WatchedBench]:
    """A bench of the display on a clock, which `memory:` opens until the end."""
    watched = WatchedBench(display, clock)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(MemoryOutput, "open", _opening(watched))
        yield watched


class BenchOutput(MemoryOutput):
    """An output at `memory:` that sends to the bench of the test."""

    def __init__(self, bench: Bench) -> None:
        super().__init__(bench.display)
        self.bench = bench


def _opening(bench: WatchedBench) -> Any:
    """What MemoryOutput.open is while a test has a bench: a class method."""

    def opened(kind: type[MemoryOutput], address: Address, display: Display) -> MemoryOutput:
        address.only(place=False)
        mine = bench.display
        same = display.chip == mine.chip and np.array_equal(display.wiring.cell, mine.wiring.cell)
        return BenchOutput(bench if same else WatchedBench(display, bench.clock))

    return classmethod(opened)
