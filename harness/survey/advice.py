"""What to do better in the next film, from why LEDs are uncertain in this one."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from harness.survey import standing

_SMALL_PX = 12.0  # from one LED to the next: below, more pixels help most

_OUT = "Move back or turn the camera: the whole wall must be in the picture."
_SLOWER = "Film again in a darker room, and play the pattern slower: --pace 2."
_STEADY = "Film again with the camera on a stand, and play the pattern slower: --pace 2."
_DARKER = "Film again with less exposure, and without lamps that shine on the front."
_WHOLE = "Film again on a stand, from before the pattern begins until the wall is dark."
_ADVICE = {
    standing.NOISE: _SLOWER,
    standing.OUTSIDE: _OUT,
    standing.AWAY: _OUT,
    standing.BRIGHT: _DARKER,
    standing.ILLEGIBLE: _WHOLE,
}


def advice(reasons: Sequence[str], pitch_px: float) -> tuple[str, ...]:
    """A sentence for each kind of reason, the most frequent first.

    reasons: of the uncertain LEDs. pitch_px: pixels from one LED to the next.
    """
    nearer = f"Film nearer, in focus: the LEDs are only {pitch_px:.0f} pixels apart."
    unclear = nearer if pitch_px < _SMALL_PX else _STEADY
    found = Counter(
        next((text for begin, text in _ADVICE.items() if why.startswith(begin)), unclear)
        for why in reasons
    )
    if nearer not in found and pitch_px < _SMALL_PX and {_SLOWER, _WHOLE} & set(found):
        found[nearer] = 1
    return tuple(text for text, _ in found.most_common())
