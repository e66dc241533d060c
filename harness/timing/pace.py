"""Whether the code under test is fast enough: which pictures take longer than a frame period."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Srgb
from harness.result.finding import Finding
from harness.timing.words import finding, ordinal

OVER = 1.1  # of the frame period: code that waits for the next frame takes slightly longer than it
KEPT = 8  # slow pictures kept, to be sent again: with more, their share is proof enough
AGAIN = 2  # times that one of them is sent again; it must be slow each time
_SHARE = 0.025  # of the pictures: fewer may be due to something else on the machine
_LEAST = 3  # pictures: fewer show neither a share nor a rhythm
_REGULAR = 0.8  # of the pauses between slow pictures are the same: every n-th


@dataclass(frozen=True)
class Slow:
    """A picture that took too long, and its place in words."""

    picture: Srgb
    place: str


@dataclass(frozen=True)
class Pace:
    """How long the code under test took for each picture, except the first, when code may load.

    took_ms: (T,) ms without waiting for a processor. first_ms: ms for the first picture. rate:
    frames/s that the display file asks for.
    """

    took_ms: NDArray[np.float64]
    first_ms: float
    rate: float

    @classmethod
    def of(cls, took_ns: Sequence[int], rate: float) -> Pace:
        """From the times of all pictures, at least one."""
        return cls(np.array(took_ns[1:] or took_ns) / 1e6, took_ns[0] / 1e6, rate)

    @property
    def median_ms(self) -> float:
        return float(np.median(self.took_ms))

    @property
    def worst_ms(self) -> float:
        return float(self.took_ms.max())

    @property
    def over(self) -> NDArray[np.intp]:
        """Numbers of the pictures that took too long; the first picture is 0."""
        return np.flatnonzero(self.took_ms > OVER * 1e3 / self.rate) + 1

    @property
    def too_slow(self) -> str:
        """Which pictures take too long, in words; '' for none, or for too few to prove anything.

        A single slow picture proves nothing: the machine may have been busy with something else.
        """
        if self.median_ms > OVER * 1e3 / self.rate:
            return "each picture"
        if self.over.size < _LEAST:
            return ""
        pauses, counts = np.unique(np.diff(self.over), return_counts=True)
        if counts.max() >= max(_REGULAR * counts.sum(), _LEAST - 1) and pauses[counts.argmax()] > 1:
            return f"every {ordinal(int(pauses[counts.argmax()]))} picture"
        share = self.over.size / self.took_ms.size
        return f"{share:.0%} of the pictures" if share >= _SHARE else ""

    def finding(self, which: str, place: str) -> Finding:
        """The warning that `which` take too long; place: one of them, in words."""
        period_ms = 1e3 / self.rate
        figures = (
            f"{self.median_ms:.1f} ms a picture in the median, {self.worst_ms:.1f} ms at worst;"
            f" {self.rate:g} frames/s leave {period_ms:.1f} ms"
        )
        if which == "each picture":
            usual_ms = self.median_ms
            what, look = f"the code takes {figures}", "numpy on whole pictures, tables built once"
        else:
            usual_ms = float(np.median(self.took_ms[self.over - 1]))
            what = (
                f"{which} {'take' if '%' in which else 'takes'} too long: the code takes {figures}"
            )
            look = "check what it does there: files, memory, tables built again"
        return finding(
            what,
            "all LEDs",
            f"{self.over.size} of {self.took_ms.size} pictures take longer, {usual_ms:.1f} ms in"
            f" the median of these{f', for example {place}' if place else ''}; the very first took"
            f" {self.first_ms:.1f} ms",
            f"make it faster ({look}), or ask for at most {1e3 / usual_ms:.3g} frames/s in"
            " [controller].",
            "warning",
        )
