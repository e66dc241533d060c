"""A bench that remembers what happened to each frame it was sent."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from emulator.bench import Bench, Sent, WireData
from emulator.strip import Bytes


class WatchedBench(Bench):
    """A Bench whose `sent` keeps what every `send` returned, in order: the fixture `bench`.

    Of `send_frames`, which refuses what does not fit, it keeps the times alone.
    """

    def __init__(self, *args: Any, **settings: Any) -> None:
        super().__init__(*args, **settings)
        self.sent: list[Sent] = []

    def send(self, picture: ArrayLike, hold_ns: int | None = None) -> Sent:
        """As Bench.send."""
        self.sent.append(super().send(picture, hold_ns))
        return self.sent[-1]

    def send_frame(self, data: WireData, hold_ns: int | None = None) -> Sent:
        """As Bench.send_frame."""
        self.sent.append(super().send_frame(data, hold_ns))
        return self.sent[-1]

    def send_frames(self, data: Bytes, period_ns: int) -> NDArray[np.int64]:
        """As Bench.send_frames."""
        begin_ns, reset_ns = self.clock.now_ns(), self.strips[0].reset_ns
        latched_ns = super().send_frames(data, period_ns)
        for number, latched in enumerate(latched_ns.tolist()):
            starts_ns = begin_ns + number * period_ns
            wire_ns = latched - reset_ns - starts_ns
            self.sent.append(Sent(starts_ns, wire_ns, latched, early=False, lines=()))
        return latched_ns
