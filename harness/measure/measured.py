"""The measurement of one display: its pictures, and what the drives it sent for them tell."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from itertools import permutations

import numpy as np
from numpy.typing import NDArray

from emulator.canvas import full_light
from emulator.description.display import Display
from harness.measure.channel import Channel
from harness.measure.measurement import Shown, plateau
from harness.measure.mixing import Mixing
from harness.measure.pictures import (
    BLUE,
    DARK,
    GREEN,
    RED,
    WHITE,
    measuring_pictures,
)

Bytes = NDArray[np.uint8]
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Picture = NDArray[np.uint8]

_LEAST_KNOWN = 0.05  # share of LEDs whose cell must be known


@dataclass(frozen=True)
class Measured:
    """shown: what the LEDs did, at the cells that fit best. display: what it is held to."""

    display: Display
    shown: Shown

    @property
    def enough(self) -> bool:
        """Whether the cells of enough LEDs are known, and these light up at all."""
        known = self.shown.known
        lit = self.shown.steps[:, known].any() if known.any() else False
        return bool(lit and known.mean() >= _LEAST_KNOWN and self.shown.fitted.any())

    @cached_property
    def full(self) -> Floats:
        """(3,) light of full white asked for, in shares of a channel at full drive."""
        return full_light(self.display)

    @cached_property
    def channels(self) -> tuple[Channel, ...]:
        """The responses of red, green and blue, explained."""
        curve = self.display.canvas.curve
        return tuple(
            Channel(shown, curve, full)
            for shown, full in zip(self.mixing.own.T, self.full.tolist(), strict=True)
        )

    @cached_property
    def mixing(self) -> Mixing:
        return Mixing(self.shown, self.full, self.display.canvas.curve)

    @cached_property
    def plain(self) -> Floats:
        """(3, N, 3) light of all LEDs red, green and blue; 1 is as asked.

        The light of W is in all three, where it is not just added to the right channel.
        """
        steps = self.shown.steps[[RED, GREEN, BLUE]]
        light = steps[..., :3]
        own = light[np.arange(3), :, np.arange(3)]  # (3, N)
        added = (own >= 0.75 * steps.max(axis=-1)).all(axis=0)
        white = np.where(added[:, None], 0.0, steps[..., 3:].sum(axis=-1, keepdims=True))
        return np.asarray((light + white) / (255 * self.full))

    @property
    def inverted(self) -> bool:
        """Whether dark shows nearly full light, and white nearly none."""
        dark, white = (self.shown.steps[n].max(axis=-1) for n in (DARK, WHITE))
        return bool(np.median(dark) > 127 * self.full.min() and np.median(white) < 25)


def pictures_of(display: Display) -> Iterable[Picture]:
    """The measuring pictures (rows, columns, 3) of a display, one after the other."""
    cells = np.flatnonzero(~display.gap.reshape(-1))
    for values in measuring_pictures(len(cells)).values:
        picture = np.zeros(display.picture_shape, dtype=np.uint8)
        picture.reshape(-1, 3)[cells] = values
        yield picture


def measured(display: Display, drives: Bytes, sources: Iterable[Ints]) -> Measured:
    """What drives (T, N, C), sent for the pictures of the display, tell.

    sources: the cells (N,) that the LEDs may show, below 0 where unknown; what fits best is
    taken, the first where they fit alike.
    """
    cells = np.flatnonzero(~display.gap.reshape(-1))
    pictures = measuring_pictures(len(cells))
    place = np.full(display.gap.size, -1, dtype=np.int64)
    place[cells] = np.arange(len(cells))
    steps = _steps(drives, display.chip.channels)
    order = _order(steps)
    best, most = None, -1.0
    for source in sources:
        cell = np.where(source >= 0, place[np.maximum(source, 0)], -1)
        shown = Shown(pictures, cell, steps, order)
        fit = shown.agreement * float(shown.known.mean())
        if fit > most + 0.1:
            best, most = shown, fit
    assert best is not None  # the first is always taken
    return Measured(display, best)


def _steps(drives: Bytes, channels: str) -> Floats:
    """Drive steps (T, N, C) linear in light: a common intensity scales the three."""
    steps = drives.astype(np.float64)
    return steps[..., :3] * steps[..., 3:] / 31 if channels == "RGBI" else steps


def _order(steps: Floats) -> tuple[int, int, int]:
    """The output channel in which most LEDs show red, green and blue."""
    colours = steps[[RED, GREEN, BLUE]]
    plain = np.array([[plateau(colours[c, :, out]) for out in range(3)] for c in range(3)])
    if plain.max() <= 0:
        return (0, 1, 2)
    # Each channel by its own brightest, since a dim one is still a channel; the usual order wins
    # where another is hardly better.
    plain = plain / np.maximum(plain.max(axis=0, keepdims=True), 1e-9)
    orders = list(permutations(range(3)))
    scores = [sum(plain[c, order[c]] for c in range(3)) for order in orders]
    best = int(np.argmax(scores))
    one, two, three = orders[best if scores[best] > scores[0] + 0.5 else 0]
    return (one, two, three)
