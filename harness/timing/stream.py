"""What a stream of frames tells about time, where nobody knows what it should show."""

from __future__ import annotations

import numpy as np

from harness.timing.profile import MOST_PERIOD
from harness.timing.words import ordinal

_TIMES = 4  # that a black frame must come back, always after as many


def black_frames(lit: bytes | bytearray) -> str:
    """'every third frame is black' where single black frames come at an even pace; else ''.

    lit: a byte a frame, 0 where no LED was lit. Longer pauses are no such frames.
    """
    shown = np.frombuffer(lit, np.uint8) > 0
    single = np.flatnonzero(~shown[1:-1] & shown[:-2] & shown[2:]) + 1
    if single.size < _TIMES or single.size < (~shown).sum() - 2:  # beside those at either end
        return ""
    apart = np.unique(np.diff(single))
    if apart.size != 1 or apart[0] > MOST_PERIOD:
        return ""
    return f"every {ordinal(int(apart[0]))} frame is black"
