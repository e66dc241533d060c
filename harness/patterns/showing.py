"""Shows a scene or pattern on a bench for a while, at the frame rate of the display file."""

from __future__ import annotations

from collections.abc import Iterator

from emulator.bench import Bench
from emulator.clock import SECOND_NS
from emulator.strip import Sent
from harness.patterns.sources import PictureAt


def frames_in(bench: Bench, seconds: float) -> int:
    """How many frames `show_for` sends."""
    return max(round(seconds * bench.display.controller.frame_rate), 1)


def show_for(bench: Bench, source: PictureAt, seconds: float) -> Iterator[Sent]:
    """Send what a source shows, from the bench's time on, for `seconds`; yields after each frame.

    Frames start at exact multiples of the frame period. If the wire takes longer than a period,
    each frame starts as soon as it can, with the picture of that moment. At the end the clock is
    `seconds` later than at the start.
    """
    rate = bench.display.controller.frame_rate
    begin_ns = bench.clock.now_ns()
    for number in range(frames_in(bench, seconds)):
        bench.clock.wait_until(begin_ns + round(number * SECOND_NS / rate))
        now_ns = bench.clock.now_ns() - begin_ns
        if now_ns >= seconds * SECOND_NS and number:
            break
        yield bench.send(source(now_ns / SECOND_NS))
    bench.clock.wait_until(begin_ns + round(seconds * SECOND_NS))
