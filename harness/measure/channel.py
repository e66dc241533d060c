"""One channel's response, explained: its law, the bits left, the ranges that differ, its gain."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from emulator.description.canvas import Curve
from harness.measure.laws import LEVELS, ROUNDING, Law, allowed, law_of, meant_steps
from harness.measure.ranges import Range, base_of, bits_left, ranges_off

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Channel:
    """shown: (256,) drive steps at each level. curve, full: those meant."""

    shown: Floats
    curve: Curve
    full: float

    @cached_property
    def meant(self) -> Floats:
        """(256,) drive steps as they are meant."""
        return meant_steps(self.curve, self.full)

    @cached_property
    def law(self) -> Law | None:
        return law_of(self.shown, self.curve, self.full)

    @cached_property
    def bits(self) -> int | None:
        return bits_left(self.shown, self.meant)

    @cached_property
    def base(self) -> tuple[Floats, float]:
        return base_of(self.shown, self.curve, self.full)

    @cached_property
    def ranges(self) -> list[Range]:
        return ranges_off(self.shown, self.base[0])

    @property
    def gain(self) -> float:
        """Light at full, in shares of what is meant."""
        return float(self.shown[255] / self.meant[255])

    @cached_property
    def cut_off(self) -> int | None:
        """The level from which all show the same, where a gain leads beyond the brightest."""
        law = self.law
        if law is None or law.kind not in ("gain", "offset", "before"):
            return None
        top = float(self.shown.max())
        if law.kind == "before":
            beyond = law.scale * LEVELS + law.shift > 256
        else:
            beyond = law.gain * self.meant + law.offset > top + allowed(self.shown, self.meant)
        if not beyond.any():
            return None
        return int(np.flatnonzero(self.shown >= top - 0.75)[0])

    @property
    def right(self) -> bool:
        """Whether it shows what is meant, but for a gain, a lift of black and a lost last bit."""
        law = self.law
        plain = law is not None and law.kind in ("gain", "lifted") and self.cut_off is None
        return plain and (self.bits is None or self.bits > 6)

    def like(self, other: Channel) -> bool:
        """Whether two channels show the same, each in shares of its own brightest."""
        tops = self.shown.max(), other.shown.max()
        if min(tops) < 1:
            return bool(max(tops) < 1)
        off = np.abs(self.shown / tops[0] - other.shown / tops[1]).max()
        return bool(off <= (ROUNDING + 1) / min(tops) + 0.012)
