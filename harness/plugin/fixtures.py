"""The fixtures `machine_time` and `bench`.

They import what they need when a test asks for them, so other runs stay fast.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest

from emulator.clock import RealClock, SimulatedClock

if TYPE_CHECKING:
    from emulator.description.display import Display
    from harness.simulated.machine_time import MachineTime
    from harness.simulated.watched import WatchedBench


@pytest.fixture
def machine_time(request: pytest.FixtureRequest) -> Iterator[MachineTime | None]:
    """A `harness.MachineTime`, entered until the test ends; None for a test in real time.

    `machine_time.step(-3600)` sets the time of day back by an hour.
    """
    real = request.node.get_closest_marker("foreglow_real_time") is not None
    if real or request.config.getini("foreglow_real_time"):
        yield None
        return
    from harness.simulated.machine_time import MachineTime

    with MachineTime(SimulatedClock()) as simulated:
        yield simulated


@pytest.fixture
def bench(
    request: pytest.FixtureRequest, display: Display, machine_time: MachineTime | None
) -> Iterator[WatchedBench]:
    """The display on a `harness.WatchedBench`, dark, at time 0, on the clock of the test.

    An output that the test opens at `memory:` for this display sends to it.
    """
    from harness.plugin.benchoutput import bench_at_memory

    with bench_at_memory(display, machine_time.clock if machine_time else RealClock()) as watched:
        if request.config.getoption("--foreglow-window"):
            from harness.plugin.window import watching

            with watching(watched, request.node):
                yield watched
        else:
            yield watched
