"""The detector of ranges: pieces of a line that run backwards across its runs."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from harness.explain.operations import RangeBackwards
from harness.explain.state import State

_CENTRES = 3  # most frequent centres tried on each line
_FITTING = 4  # LEDs that must fit backwards only; two would be an exchange


def ranges(state: State) -> Iterator[RangeBackwards]:
    """The range on each line that fits best backwards, about each of the likeliest centres."""
    wall = state.wall
    starts, lengths = wall.wiring.line_starts, wall.wiring.line_lengths
    for line, (start, length) in enumerate(zip(starts, lengths, strict=True)):
        stretch = slice(start, start + length)
        now, giver = state.right[stretch], state.giver[stretch] - start
        mirrored = np.flatnonzero(~now & (giver >= 0) & (giver < length))
        # If LED i shows what was meant for LED j, i + j is twice the centre, the same in a range.
        twice, votes = np.unique(mirrored + giver[mirrored], return_counts=True)
        order = np.argsort(-votes, kind="stable")
        for centre in twice[order[votes[order] >= _FITTING][:_CENTRES]].tolist():
            found = _about(state, line, start, length, centre)
            if found is not None:
                yield found


def _about(state: State, line: int, start: int, length: int, centre: int) -> RangeBackwards | None:
    """The range about a centre (twice its number) in which most LEDs are set right."""
    # From the middle outwards. The middle LED of an odd range keeps its cell: it does not count.
    left = np.arange((centre - 1) // 2, max(centre - length + 1, 0) - 1, -1)
    right = centre - left
    if not left.size:
        return None
    leds, others = np.stack([left, right]) + start, np.stack([right, left]) + start
    shown = state.wall.as_seen(state.prediction)
    fits, now = shown[others] == state.source[leds], state.right[leds]
    gain = np.cumsum(fits.sum(axis=0) - now.sum(axis=0))
    most = int(gain.argmax())
    fitting = int(fits[:, : most + 1].sum())
    if fitting < max(_FITTING, most + 1):  # at least half of the LEDs of the range
        return None
    return RangeBackwards(line, int(left[most]), int(right[most]))
