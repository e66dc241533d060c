"""The measurement of one display: its pictures, and what its drives show about the code."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import permutations

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bytes, Floats, Ints, Srgb
from emulator.canvas import full_light
from emulator.description.display import Display
from emulator.signal.framing import has_seven_bits
from harness.measure.blend import Blend, borrowed, find_blend
from harness.measure.channel import Channel
from harness.measure.laws import meant_steps
from harness.measure.measurement import Shown, plateau
from harness.measure.mixing import Mixing
from harness.measure.pictures import (
    BLUE,
    DARK,
    GREEN,
    HALF_LEVEL,
    RED,
    WHITE,
    measuring_pictures,
)

_LEAST_KNOWN = 0.05  # share of LEDs whose cell must be known
_LEAST_PLAIN = 0.5  # if others mix cells: of the rest, some may do so too, only less
_BORROWED = 0.8  # share of such light: much more than chance
_JUMPS = 0.3  # share of what a small wall's LEDs show that neither neighbours nor sums explain
_WIDEST = 24  # levels in a row that may be missing: a straight line is 0.8 drive steps off there


@dataclass(frozen=True)
class Measured:
    """shown: what the LEDs showed, for the cells that fit best. display: what it is compared with.

    intensity: (T, N) drives of a common intensity, 0…31; None if the chip has none.
    blend: the LEDs that mix cells, which `shown` leaves out; None if none does.
    """

    display: Display
    shown: Shown
    intensity: Floats | None = None
    blend: Blend | None = None

    @cached_property
    def scattered(self) -> bool:
        """Whether LEDs with the same level mostly do not show the same.

        On a small wall, only one LED shows a level. There, a table of levels may jump, and channels
        may leak. If levels jump and mixtures do not follow them, neither explains it.
        """
        if self.shown.small:
            if self.borrowed > _BORROWED:
                return True
            jumps = self.shown.jumps > _JUMPS
            return jumps and self.mixing.misses(self.mixing.sums) > _JUMPS
        return self.shown.scattered

    @cached_property
    def borrowed(self) -> float:
        """Share of the light that a cell beside it explains, where an LED's own cell is dark."""
        return borrowed(self.display, self.shown)

    @property
    def enough(self) -> bool:
        """Whether the cells of enough LEDs are known, and these light up at enough levels."""
        shown, known = self.shown, self.shown.known
        lit = shown.steps[:, known].any() if known.any() else False
        least = _LEAST_KNOWN if self.blend is None else _LEAST_PLAIN
        if not lit or known.mean() < least or not shown.fitted.any():
            return False
        own = np.argsort(np.argsort(self.display.wiring.cell))
        elsewhere = (shown.cell != own)[shown.answers].any()
        return shown.widest <= _WIDEST and not (elsewhere and shown.doubtful(shown.fitted))

    @cached_property
    def full(self) -> Floats:
        """(3,) light that full white asks for, as a share of a channel at full drive."""
        return full_light(self.display)

    @cached_property
    def channels(self) -> tuple[Channel, ...]:
        """The responses of red, green and blue, explained."""
        curve, least = self.display.canvas.curve, 1 / float(self.shown.dimming.min())
        leak = self.mixing.leak
        depth = 7 if has_seven_bits(self.display.chip) else 8
        found = []
        for shown, full in zip(self.mixing.own.T, self.full.tolist(), strict=True):
            told = meant_steps(curve, full) if leak is not None and leak.whole else shown
            found.append(Channel(told, curve, full, least * 2 ** (8 - depth), depth))
        return tuple(found)

    @cached_property
    def mixing(self) -> Mixing:
        return Mixing(self.shown, self.full, self.display.canvas.curve)

    @cached_property
    def plain(self) -> Floats:
        """(3, N, 3) light of all LEDs red, green and blue above black; 1 is as asked.

        The light of W is in all three, unless it is only added to the right channel.
        """
        shown = self.shown.steps
        steps = np.maximum(shown[[RED, GREEN, BLUE]] - shown[DARK], 0)
        light = steps[..., :3]
        own = light[np.arange(3), :, np.arange(3)]  # (3, N)
        added = (own >= 0.75 * steps.max(axis=-1)).all(axis=0)
        white = np.where(added[:, None], 0.0, steps[..., 3:].sum(axis=-1, keepdims=True))
        return np.asarray((light + white) / (255 * self.full))

    @cached_property
    def twice_dimmed(self) -> bool:
        """Whether a common intensity falls with the level and the channels do not compensate."""
        if self.intensity is None:
            return False
        shown, kind = self.shown, self.shown.pictures.single
        pick = kind[:, None] & shown.told_by & ~shown.marks
        levels, light = shown.single
        levels = levels.max(axis=-1)
        intensity = np.maximum(self.intensity[pick], 1)
        if np.ptp(intensity) < 4:
            return False
        curve = self.display.canvas.curve
        drive = light[:, :3].max(axis=-1) * 31 / intensity
        meant = meant_steps(curve, float(self.full.max()))[levels]
        return bool((np.abs(drive - meant) <= 4 + 0.03 * meant).mean() > 0.8)

    def follows(self, cell: Ints) -> NDArray[np.bool_]:
        """(N,) LEDs that show the levels of these cells (N,) of the pictures, and no others."""
        shown, kind = self.shown, self.shown.pictures.single
        if not self.enough or self.scattered:
            return np.zeros(len(cell), dtype=np.bool_)
        there = replace(shown, cell=cell)
        right, counted = (np.zeros(len(cell), np.int64) for _ in range(2))
        gain = np.where(there.gain > 0.02, there.gain, 1.0).mean(axis=-1)[:, None]
        for t in np.flatnonzero(kind).tolist():
            levels, counts = there.levels[t], ~there.marks[t]
            told = shown.response[levels.argmax(axis=-1), levels.max(axis=-1)]  # (N, C)
            light = there.steps[t][:, there.channels] / shown.dimming[t] / gain
            near = (np.abs(light - told) <= 4 + 0.05 * told + 1 / gain).all(axis=-1)
            right += near & counts
            counted += counts
        share = right / np.maximum(counted, 1)
        return np.asarray((share > 0.9) & there.steps[kind].any(axis=(0, 2)))

    @property
    def inverted(self) -> bool:
        """Whether black is bright, white is dark, and each colour shows the other two."""
        steps = self.shown.steps[:6, :, :3] + self.shown.steps[:6, :, 3:].sum(axis=-1)[..., None]
        middle = np.median(steps, axis=1)  # (6, 3)
        own = middle[[RED, GREEN, BLUE], [RED, GREEN, BLUE]]
        bright = 0.5 * middle[DARK].min()
        return bool(bright > 10 and middle[WHITE].max() < bright and own.max() < bright)


def pictures_of(display: Display) -> Iterable[Srgb]:
    """The measuring pictures (rows, columns, 3) of a display, one after the other."""
    cells = np.flatnonzero(~display.gap.reshape(-1))
    for values in measuring_pictures(len(cells)).values:
        picture = np.zeros(display.picture_shape, dtype=np.uint8)
        picture.reshape(-1, 3)[cells] = values
        yield picture


def measured(
    display: Display, drives: Bytes, sources: Iterable[Ints], noise: float = 0.0
) -> Measured:
    """What the drives (T, N, C) for the pictures of the display show.

    sources: possible cells (N,) of the LEDs, below 0 where unknown. The ones that fit best are
    used, or the first of several that fit as well. noise: drive steps by which answers to the same
    picture may differ.
    """
    cells = np.flatnonzero(~display.gap.reshape(-1))
    pictures = measuring_pictures(len(cells))
    place = np.full(display.gap.size, -1, dtype=np.int64)
    place[cells] = np.arange(len(cells))
    steps = _steps(drives, display.chip.channels)
    half = meant_steps(display.canvas.curve, 1.0)[HALF_LEVEL] * full_light(display)
    order = _order(steps)
    best, most = None, -1.0
    for source in sources:
        cell = np.where(source >= 0, place[np.maximum(source, 0)], -1)
        shown = Shown(pictures, cell, steps, half, order, noise)
        if shown.fit > most + 0.1:
            best, most = shown, shown.fit
    assert best is not None  # the first is always taken
    rgbi = display.chip.channels == "RGBI"
    intensity = drives[..., 3].astype(np.float64) if rgbi else None
    blend = find_blend(display, best)
    if blend is not None:
        best = replace(best, cell=np.where(blend.doubtful, -1, best.cell))
    return Measured(display, best, intensity, blend)


def _steps(drives: Bytes, channels: str) -> NDArray[np.floating]:
    """Drive steps (T, N, C) linear in light: a common intensity scales the three."""
    if channels == "RGBI":
        return np.asarray(drives[..., :3].astype(np.float64) * drives[..., 3:] / 31)
    return drives.astype(np.float32)  # exact, at half the memory


def _order(steps: NDArray[np.floating]) -> tuple[int, int, int]:
    """The output channel that changes on most LEDs from dark to red, green and blue."""
    colours = np.abs(steps[[RED, GREEN, BLUE]] - steps[DARK])
    plain = np.array([[plateau(colours[c, :, out]) for out in range(3)] for c in range(3)])
    if plain.max() <= 0:
        return (0, 1, 2)
    # Each channel relative to its own brightest light, since a dim one is still a channel. The
    # usual order wins unless another one is clearly better.
    plain = plain / np.maximum(plain.max(axis=0, keepdims=True), 1e-9)
    orders = list(permutations(range(3)))
    scores = [sum(plain[c, order[c]] for c in range(3)) for order in orders]
    best = int(np.argmax(scores))
    one, two, three = orders[best if scores[best] > scores[0] + 0.5 else 0]
    return (one, two, three)
