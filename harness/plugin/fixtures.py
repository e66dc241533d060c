"""The fixtures `machine_time` and `bench`."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest

from emulator.bench import Bench
from emulator.clock import RealClock, SimulatedClock
from emulator.description.display import Display
from emulator.ports.address import Address
from emulator.ports.memory import MemoryOutput
from harness.machine_time import MachineTime
from harness.watched import WatchedBench


@pytest.fixture
def machine_time(request: pytest.FixtureRequest) -> Iterator[MachineTime | None]:
    """The machine's time, simulated until the test ends; None for a test in real time.

    `machine_time.step(-3600)` sets the time of day back by an hour.
    """
    real = request.node.get_closest_marker("foreglow_real_time") is not None
    if real or request.config.getini("foreglow_real_time"):
        yield None
        return
    with MachineTime(SimulatedClock()) as simulated:
        yield simulated


@pytest.fixture
def bench(
    request: pytest.FixtureRequest, display: Display, machine_time: MachineTime | None
) -> Iterator[WatchedBench]:
    """The display on an emulated bench, dark, at time 0, on the clock that the test lives on.

    An output that the test opens at `memory:`, for this display, sends to it.
    """
    watched = WatchedBench(display, machine_time.clock if machine_time else RealClock())
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(MemoryOutput, "open", _opening(watched))
        if request.config.getoption("--foreglow-window"):
            from harness.plugin.window import watching

            with watching(watched, request.node):
                yield watched
        else:
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
