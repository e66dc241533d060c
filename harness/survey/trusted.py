"""Of which cells of a film the light can be judged, and why not that of the others.

What is in front of the LEDs changes their light as well: a print dims and colours whole areas,
lamps are mirrored in it, a lens darkens corners. So light is only judged where nothing speaks
against it.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from emulator.arrays import Bools, Floats
from emulator.picture.srgb import LUMINANCE
from harness.survey.seen import Seen

_LEAST_PX = 6.0  # pitch: below, each pixel has light of several cells
_MOST_UNCERTAIN = 0.2  # of the LEDs
_LEAST_JUDGED = 0.5  # of the cells that were read
# What the colours say together, as a natural logarithm: more than the first must be confirmed by
# the swing, at least by this share of it.
_SMALL, _CONFIRMS = 0.2, 0.5


class Trusted(NamedTuple):
    """light: (rows, columns) cells whose light can be judged. steady: those of which it can be said
    whether they flicker. unknown: why the light of none can be judged, '' if some can."""

    light: Bools
    steady: Bools
    unknown: str


def trusted(seen: Seen, share: Floats) -> Trusted:
    """share: (rows, columns, 4) red, green, blue and swing beside the smooth surface."""
    read = (seen.number >= 0) & seen.certain[np.maximum(seen.number, 0)]
    light = read & ~seen.unsure_light & np.isfinite(share).all(axis=2) & _agrees(seen, share)
    none = np.zeros_like(read)
    if seen.certain.mean() < 1 - _MOST_UNCERTAIN:
        return Trusted(none, none, "too many LEDs are uncertain")
    if (px := pitch_px(seen)) < _LEAST_PX:
        return Trusted(none, none, f"the LEDs are only {px:.1f} pixels apart in the film")
    if light.sum() < _LEAST_JUDGED * read.sum():
        why = "most cells are as bright as the camera can show, in one colour at least, or unsteady"
        return Trusted(none, read, f"{why} (film with less exposure)")
    return Trusted(light, read, "")


def _agrees(seen: Seen, share: Floats) -> Bools:
    """(rows, columns) whether the pictures of the code confirm what the colours say together.

    These are many more, so that bands of a shutter and short shadows are only in the colours.
    """
    if "W" in seen.display.chip.channels:
        return np.ones(share.shape[:2], dtype=np.bool_)  # white is its own LED
    known = seen.hues[np.isfinite(seen.hues).all(axis=(2, 3))]
    weight = np.median(known, axis=0) @ LUMINANCE if len(known) else np.zeros(3)
    together = share[..., :3] @ (weight / max(float(weight.sum()), 1e-12))
    with np.errstate(invalid="ignore", divide="ignore"):
        said, swing = np.log(together), np.log(share[..., 3])
    confirmed = swing * np.sign(said) >= _CONFIRMS * np.abs(said)
    return np.asarray(confirmed | (np.abs(said) < _SMALL))


def pitch_px(seen: Seen) -> float:
    """Pixels between neighbours, where they are nearest."""
    at = seen.outline.middles(seen.display.gap.shape)
    steps = [np.hypot(*np.moveaxis(np.diff(at, axis=axis), -1, 0)) for axis in (0, 1)]
    return min((float(one.min()) for one in steps if one.size), default=np.inf)
