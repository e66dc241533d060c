"""A recording judged for flashes, in memory that does not grow with its length."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

import numpy as np

from emulator.arrays import Floats
from emulator.description.display import Display
from emulator.recording.recording import Recording
from harness.flash import changes
from harness.flash.field import Fields
from harness.flash.judge import Counts, Flashing, Judgement, relative_light
from harness.flash.running import RunningJudge

_BLOCK = 4_000_000  # LEDs times frames in memory

Watch = Callable[[Sequence[int], str], Iterable[int]]


def judge_recording(
    recording: Recording, display: Display, distance_m: float | None, watch: Watch | None = None
) -> Judgement:
    """Judge a recording frame by frame; then read the worst place again for its trace.

    distance_m: None for that of [view]. watch: for a progress bar; it gets the frame numbers and
    words for the work, and returns an iterator of the numbers. Raises ValueError if there is no
    frame.
    """
    watched = watch or (lambda frames, doing: frames)
    judge = RunningJudge(display, distance_m)
    last = None
    for frame in watched(range(len(recording)), "judging"):
        drives = recording.stored[frame]
        if last is None or not np.array_equal(drives, last):  # a still picture does not flash
            judge.take(relative_light(drives, display), int(recording.times_ns[frame]))
        last = drives
    general, red = judge.general, judge.red
    if general is None or red is None:
        raise ValueError("there is no frame to judge")
    worst = max(general, red, key=lambda kind: kind.rank)
    luminance, flashes = _trace(recording, display, worst, watched)
    return Judgement(
        judge.distance_m,
        Fields(display, judge.distance_m).fine_squares > 0,
        general,
        red,
        recording.times_ns,
        luminance,
        flashes,
    )


def _trace(
    recording: Recording, display: Display, worst: Flashing, watched: Watch
) -> tuple[Floats, Counts]:
    """Relative luminance (T,) of the worst LED, and its flashes (T,) in the second before."""
    step = max(_BLOCK // len(recording.cell), 1)
    drives = np.concatenate(
        [
            recording.stored[begin : begin + step][:, worst.led].copy()  # not all of the block
            for begin in watched(range(0, len(recording), step), "tracing the worst place")
        ]
    )
    light = relative_light(drives, display)[:, None]
    luminance = changes.relative_luminance(light)
    found = (
        changes.general_changes(luminance)
        if worst.kind == "general"
        else changes.red_changes(light)
    )
    return luminance[:, 0], changes.flashes_by_second(found, recording.times_ns)[:, 0]
