"""What an assertion looks at. It fails if nothing was sent: such a wall proves nothing."""

from __future__ import annotations

from emulator.arrays import Bytes, Light
from emulator.bench import Bench

__tracebackhide__ = True  # a failure points to the line of the test


def latched_frames(bench: Bench) -> Bytes:
    """The drives of every frame latched so far, (T, N, C). Raises AssertionError if T is 0."""
    frames = bench.frames
    if not len(frames):
        raise AssertionError("no frame has been latched yet")
    return frames


def shown_now(bench: Bench) -> Light:
    """Linear light now, (rows, columns, 3). Raises AssertionError before the first frame."""
    latched_frames(bench)
    return bench.picture
