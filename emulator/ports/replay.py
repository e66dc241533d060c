"""Plays a capture onto an output, at the speed of the capture."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator

import numpy as np

from emulator.arrays import Bytes
from emulator.clock import Clock
from emulator.errors import CaptureError
from emulator.ports.output import Output
from emulator.signal.capture import Capture

_SLICE_NS = 10_000_000  # between calls of `going_on` while waiting


def replay(
    captures: Iterable[Capture], output: Output, clock: Clock, going_on: Callable[[], bool]
) -> int:
    """Send the frames of a capture to an output's lines, in the order of their names in it.

    captures: its stretches one after the other (`CaptureFile.stretches`), or one whole capture. The
    first frame is sent at once, the others as long after it as in the capture, by `clock`.
    Ends early when `going_on` returns False. Returns how many frames were sent.
    Raises CaptureError if the capture has more lines than the display, or no frame.
    """
    wanted = len(output.bench.strips)
    begin_ns, first_ns, count = clock.now_ns(), None, 0
    for capture in captures:
        if len(capture.lines) > wanted:
            raise CaptureError(
                f"the capture has {len(capture.lines)} lines,"
                f" '{output.bench.display.name}' has {wanted}",
                fix="show it on a display with as many lines.",
            )
        for time_ns, lines in frames_of(capture, wanted):
            first_ns = time_ns if first_ns is None else first_ns
            due_ns = begin_ns + time_ns - first_ns
            while going_on() and (now_ns := clock.now_ns()) < due_ns:
                clock.wait_until(min(due_ns, now_ns + _SLICE_NS))
            if not going_on():
                return count
            output.send_frame(lines)
            count += 1
    if first_ns is None:
        raise CaptureError("no frame was found in the capture", fix="check chip and line.")
    return count


def frames_of(capture: Capture, wanted: int) -> Iterator[tuple[int, list[Bytes]]]:
    """Start (ns) and bytes of each frame on so many lines; frames with the same number belong
    together."""
    nothing = np.zeros(0, np.uint8)
    for number in range(max((len(line.frames) for line in capture.lines), default=0)):
        there = [line.frames[number : number + 1] for line in capture.lines]
        lines = [frame[0].data if frame else nothing for frame in there]
        lines += [nothing] * (wanted - len(lines))
        yield min(frame[0].time_ns for frame in there if frame), lines
