"""The serial path at 60 frames/s for hours of simulated time: `python -m tests.ports.soak HOURS`.

Sender, protocol, emulated board and LED wire, on one simulated clock and a cable of 1 Mbaud.
"""

from __future__ import annotations

import resource
import sys
import time
from collections.abc import Iterator

import numpy as np

from emulator import load_display
from emulator.bench import Bench
from tests.ports.cable import Cable

FRAMES_PER_S = 60


def soak(cable: Cable, seconds: int) -> Iterator[int]:
    """Send for some simulated seconds; yields the number of frames after each minute.

    Raises AssertionError if the wall does not show what was sent.
    """
    display = cable.wall.bench.display
    cable.wall.bench = Bench(display, keep=1)
    per_led, leds = display.chip.bytes_per_led, display.leds
    rng = np.random.default_rng(1)
    frames = rng.integers(0, 256, (7, leds * per_led), dtype=np.uint8)
    with cable.output() as output:
        for number in range(seconds * FRAMES_PER_S):
            cable.clock.wait_until(number * 1_000_000_000 // FRAMES_PER_S)
            output.send_frame(frames[number % 7])
            if (number + 1) % (60 * FRAMES_PER_S) == 0:
                yield number + 1
    shown = cable.wall.bench.drives
    last = frames[number % 7].reshape(leds, per_led)
    assert np.array_equal(shown, last[:, display.chip.from_wire])
    counts = output.counts
    assert (counts.written, counts.latched) == (number + 1, number + 1)
    assert (counts.dropped, counts.unanswered, counts.not_written) == (0, 0, 0)
    assert (cable.board.status.latched, cable.board.status.bad) == (number + 1, 0)


def main(hours: float) -> None:
    """Print how long it took, and how far memory grew after the first simulated minute."""
    begin, early_kib = time.perf_counter(), 0
    for frames in soak(Cable(load_display("banner")), round(hours * 3600)):
        peak_kib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        early_kib = early_kib or peak_kib
        if frames % (3600 * FRAMES_PER_S) == 0:
            print(
                f"{frames} frames, {peak_kib} KiB, {time.perf_counter() - begin:.0f} s", flush=True
            )
    print(f"{hours:g} hours in {time.perf_counter() - begin:.0f} s; the peak of memory grew by")
    print(f"{peak_kib - early_kib} KiB after the first minute")


if __name__ == "__main__":
    main(float(sys.argv[1]))
