"""A bench that keeps what happened to each frame it received."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bytes
from emulator.bench import Bench
from emulator.strip import Sent, sent_of


class WatchedBench(Bench):
    """A Bench whose `sent`, a list of `emulator.Sent`, says what happened to each frame, in order.

    The fixture `bench` is one. Takes the arguments of `emulator.Bench`.
    """

    def __init__(self, *args: Any, **settings: Any) -> None:
        super().__init__(*args, **settings)
        self.sent: list[Sent] = []

    def _send(self, lines: list[Bytes], hold_ns: int | None) -> Sent:
        self.sent.append(super()._send(lines, hold_ns))
        return self.sent[-1]

    def _send_stack(
        self, lines: list[Bytes], begins_ns: NDArray[np.int64], ready_ns: NDArray[np.int64]
    ) -> None:
        super()._send_stack(lines, begins_ns, ready_ns)
        arrivals = [
            strip.whole_arrivals(data, begin_ns)
            for strip, data, begin_ns in zip(self.strips, lines, begins_ns, strict=True)
        ]
        starts_ns = begins_ns.min(axis=0).tolist()
        self.sent += [
            sent_of(*each) for each in zip(starts_ns, zip(*arrivals, strict=True), strict=True)
        ]
