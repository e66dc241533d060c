"""Recordings made by hand, for the tests of this folder."""

from __future__ import annotations

import numpy as np

from emulator import load_display
from emulator.recording.disk import DiskRecorder
from emulator.recording.recording import load_recording

FOYER = load_display("foyer")
MILLISECOND = 1_000_000


def recorded(folder, drives, times_ms, display=FOYER):
    """A recording on disk, read again, of drives (T, N, C) at times in ms."""
    with DiskRecorder(folder, display) as recorder:
        recorder.extend((np.asarray(times_ms) * MILLISECOND).astype(np.int64), drives)
    return load_recording(folder)


def colours(*each, display=FOYER):
    """One frame a colour, over the whole wall."""
    return np.stack([np.tile(np.array(c, np.uint8), (display.leds, 1)) for c in each])


def red_green_blue(folder):
    """Red from 0 ms, green from 100 ms, blue from 300 ms."""
    return recorded(folder, colours((200, 0, 0), (0, 200, 0), (0, 0, 200)), [0, 100, 300])
