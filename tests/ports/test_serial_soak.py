"""A long show over the serial path: every frame arrives, and memory stays flat."""

from __future__ import annotations

import tracemalloc

import pytest

from emulator import load_display
from tests.ports.cable import Cable
from tests.ports.soak import soak


@pytest.mark.slow
def test_four_minutes_at_60_frames_a_second():
    """All frames are latched, the wall shows the last, and nothing piles up.

    `python -m tests.ports.soak 10` runs the same for ten hours.
    """
    held = []
    tracemalloc.start()
    try:
        for _ in soak(Cable(load_display("banner")), 240):
            held.append(tracemalloc.get_traced_memory()[0])
    finally:
        tracemalloc.stop()
    assert len(held) == 4
    # A frame of the banner is 4 × 384 bytes; one held too many each minute would show.
    assert max(held[1:]) - held[0] < 4 * 384 * len(held)
