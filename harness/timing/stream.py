"""Faults in time of a stream of frames whose pictures are unknown."""

from __future__ import annotations

import numpy as np

from harness.timing.profile import MOST_PERIOD
from harness.timing.words import ordinal

_TIMES = 4  # black frames at least, always the same number of frames apart


def black_frames(lit: bytes | bytearray) -> str:
    """'every third frame is black' if single black frames come at even intervals; else ''.

    lit: one byte for each frame, 0 if no LED was lit. Longer pauses do not count.
    """
    shown = np.frombuffer(lit, np.uint8) > 0
    single = np.flatnonzero(~shown[1:-1] & shown[:-2] & shown[2:]) + 1
    if single.size < _TIMES or single.size < (~shown).sum() - 2:  # beside those at either end
        return ""
    apart = np.unique(np.diff(single))
    if apart.size != 1 or apart[0] > MOST_PERIOD:
        return ""
    return f"every {ordinal(int(apart[0]))} frame is black"
