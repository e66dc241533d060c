"""Whether the code under test is quick enough: which pictures take longer than a frame period."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Srgb
from harness.result.finding import Finding
from harness.timing.words import finding, ordinal

OVER = 1.1  # of the frame period: code that waits for its turn takes the period and a little more
KEPT = 8  # slow pictures kept, to be sent again: with more of them their share tells
AGAIN = 2  # times that one of them is sent again, and must be slow each time
_SHARE = 0.025  # of the pictures: below, something else on the machine may be the reason
_LEAST = 3  # pictures, fewer are no share and no rhythm
_REGULAR = 0.8  # of the pauses between slow pictures are the same: every n-th


@dataclass(frozen=True)
class Slow:
    """A picture that took too long, and its place in words."""

    picture: Srgb
    place: str


@dataclass(frozen=True)
class Pace:
    """How long the code under test took over each picture, the first not counted: it may load.

    took_ms: (T,) but for what it waited for a processor. first_ms: over the first picture.
    rate: frames/s that the display file asks for.
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
        """Numbers of the pictures over the period; that of the first is 0."""
        return np.flatnonzero(self.took_ms > OVER * 1e3 / self.rate) + 1

    @property
    def too_slow(self) -> str:
        """Which pictures take too long, in words; '' for none, or so few that chance explains it.

        The worst alone proves nothing: the machine may have been busy with something else.
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
            what, look = f"the code takes {figures}", "numpy on whole pictures, tables made once"
        else:
            usual_ms = float(np.median(self.took_ms[self.over - 1]))
            what = (
                f"{which} {'take' if '%' in which else 'takes'} too long: the code takes {figures}"
            )
            look = "see what it does there: files, memory, tables made anew"
        return finding(
            what,
            "all LEDs",
            f"{self.over.size} of {self.took_ms.size} pictures over it, {usual_ms:.1f} ms in the"
            f" median of these{f', as {place}' if place else ''}; the very first took"
            f" {self.first_ms:.1f} ms",
            f"make it faster ({look}), or ask for at most {1e3 / usual_ms:.3g} frames/s in"
            " [controller].",
            "warning",
        )
