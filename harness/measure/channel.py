"""Explains one channel's response: its law, the bits left, the ranges that differ, its gain."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from emulator.arrays import Floats
from emulator.description.canvas import Curve
from harness.measure.laws import LEVELS, ROUNDING, Law, allowed, law_of, meant_steps
from harness.measure.ranges import DARK_FROM, Range, base_of, bits_left, ranges_off

LEAST_BASE = 0.35  # share of the levels that must follow a law to make it the base


@dataclass(frozen=True)
class Channel:
    """shown: (256,) drive steps at each level. curve, full: as the [canvas] asks.

    least: light of one drive step, in steps of a picture that is not dimmed. depth: bits of a
    drive that the chip has.
    """

    shown: Floats
    curve: Curve
    full: float
    least: float = 1.0
    depth: int = 8

    @cached_property
    def meant(self) -> Floats:
        """(256,) drive steps as they are meant."""
        return meant_steps(self.curve, self.full)

    @cached_property
    def law(self) -> Law | None:
        law = law_of(self.shown, self.curve, self.full)
        if law is not None and law.kind in ("gain", "lifted") and self._cut_below:
            return None
        return law

    @property
    def _cut_below(self) -> bool:
        """Whether low levels are dark that should show more than rounding removes."""
        dark = (self.shown <= 0.5) & (self.meant >= DARK_FROM * self.least)
        return bool(dark.any()) and self.gain > 0.5

    @cached_property
    def bits(self) -> int | None:
        bits = bits_left(self.shown, self.meant)
        return bits if bits is not None and bits < self.depth else None

    @cached_property
    def base(self) -> tuple[Floats, float]:
        return base_of(self.shown, self.curve, self.full)

    @cached_property
    def ranges(self) -> list[Range]:
        return ranges_off(self.shown, self.base[0], self.least)

    @cached_property
    def distinct(self) -> int | None:
        """How many different levels of light remain of 256, if they rise in steps; else None."""
        drives = np.round(self.shown)
        if (np.diff(drives) < 0).any() or self.shown.max() < 2:
            return None
        left = len(np.unique(drives))
        # Within the longest step, up or down, each level shows what another level means.
        edges = np.flatnonzero(np.diff(drives, prepend=-1, append=256))
        long = int(np.diff(edges)[1:-1].max(initial=0))
        low, high = (
            self.meant[np.maximum(LEVELS - long, 0)],
            self.meant[np.minimum(LEVELS + long, 255)],
        )
        near = (self.shown >= low - ROUNDING - 1) & (self.shown <= high + ROUNDING + 1)
        few = left <= 0.5 * len(np.unique(np.round(self.meant)))
        return left if few and near.all() else None

    @property
    def full_is_right(self) -> bool:
        """Whether full light follows the law of most levels, although other levels do not."""
        base, share = self.base
        near = abs(self.shown[255] - base[255]) <= allowed(self.shown, base)
        return bool(share >= LEAST_BASE and near)

    @property
    def gain(self) -> float:
        """Light at full, as a share of what is meant."""
        return float(self.shown[255] / self.meant[255])

    @cached_property
    def cut_off(self) -> int | None:
        """The level from which all show the same, if a gain exceeds the brightest."""
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
        """Whether it is right, except for a gain, a lift of black and a lost last bit."""
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
