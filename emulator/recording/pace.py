"""When a film shows which frame: moments in the ticks of its format."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from emulator.clock import SECOND_NS
from emulator.recording.recording import Recording

Moments = NDArray[np.int64]


def paced(
    recording: Recording, ticks_per_s: int, least_ticks: int = 1
) -> tuple[NDArray[np.intp], Moments]:
    """The frames to show (K,), and the ticks (K + 1,) when each begins and the last ends, from 0.

    Each moment is rounded to ticks by itself, so that rounding does not add up. Frames shown for
    less than `least_ticks` are left out; the last one is shown for at least that long.
    """
    times_ns = np.append(recording.times_ns, recording.end_ns) - recording.times_ns[0]
    moments = np.round(times_ns / (SECOND_NS / ticks_per_s)).astype(np.int64)
    stays = np.zeros(len(recording), dtype=np.bool_)
    least = 0
    for frame, moment in enumerate(moments[:-1]):
        if moment >= least:
            stays[frame] = True
            least = moment + least_ticks
    shown = np.flatnonzero(stays)
    return shown, np.append(moments[shown], max(moments[-1], least))
