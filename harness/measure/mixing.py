"""How red, green and blue mix: the matrix from the light of each channel alone to that shown."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Floats
from emulator.description.canvas import Curve
from emulator.picture.curve import light_to_value
from harness.measure.laws import meant_steps
from harness.measure.measurement import Shown

LEAST_LEAK = 0.01  # of the light that is meant; rounding causes less
_FEW = 0.05  # share of the mixtures that may be wrong
_TOP = 254.0  # drive steps from which a channel is cut off and cannot be used


@dataclass(frozen=True)
class Leak:
    """matrix: (3, 3) what output o gets from channel c, as a share of what is meant at full.

    before: whether these are shares of levels before the curve, not of light. whole: whether the
    matrix predicts all mixtures from the light that is meant, so nothing else is wrong with levels.
    """

    matrix: Floats
    before: bool
    whole: bool


@dataclass(frozen=True)
class Mixing:
    """Drive steps over levels of single channels, greys and mixtures.

    full: (3,) light of full white as a share of a channel at full drive. curve: of the canvas.
    """

    shown: Shown
    full: Floats
    curve: Curve

    @cached_property
    def _observed(self) -> tuple[NDArray[np.uint8], Floats]:
        """Levels (K, 3) and light (K, 3) of all pictures of levels, W added to each channel."""
        kinds = (self.shown.single, self.shown.grey, self.shown.mixed)
        levels = np.concatenate([levels for levels, _ in kinds])
        light = np.concatenate([light for _, light in kinds])
        return levels, light[:, :3] + light[:, 3:].sum(axis=-1, keepdims=True)

    @cached_property
    def white_is_taken(self) -> bool:
        """Whether W, if it lights with one channel, replaces a part of that channel's light.

        Else it is added, and its light is not the channel's own.
        """
        response = self.shown.response
        both = response[np.arange(3), :, np.arange(3)] + response[..., 3:].sum(axis=-1)
        return bool((both.max(axis=-1) <= 1.05 * 255 * self.full).all())

    @cached_property
    def single(self) -> Floats:
        """(3, 256, 3) light of each output when one channel is at a level alone.

        With the light of W, if that is taken from red, green and blue.
        """
        response = self.shown.response
        white = response[..., 3:].sum(axis=-1, keepdims=True)
        light: Floats = response[..., :3] + (white if self.white_is_taken else 0.0)
        return light

    @cached_property
    def own(self) -> Floats:
        """(256, 3) light of each channel when it is lit alone, without what W adds."""
        alone: Floats = self.single[np.arange(3), :, np.arange(3)].T
        return alone

    @cached_property
    def matrix(self) -> Floats:
        """(3, 3) light of output o for channel c at full, as a share of what is meant.

        By least squares over all pictures, linear in the light of each channel. The curve of
        each channel is the one it shows alone, so a wrong curve does not look like mixing.
        """
        levels, light = self._observed
        top = self.own[255]
        share = np.where(top > 1, self.own / np.maximum(top, 1), 0.0)
        single = share[levels, np.arange(3)] - share[0]
        usable = light < _TOP
        return self._solve(single, light - self._black, usable) / (255 * self.full[:, None])

    @cached_property
    def leak(self) -> Leak | None:
        """What channels give to each other or take from each other; None if nothing."""
        by_sums = self.misses(self.sums)
        apart = ~np.eye(3, dtype=np.bool_)
        if by_sums > _FEW:
            models = ((False, self._light_matrix), (True, self._value_matrix))
            misses = [self.misses(self._told(before, matrix)) for before, matrix in models]
            best = int(np.argmin(misses))
            before, matrix = models[best]
            if misses[best] < 0.5 * by_sums and np.abs(matrix[apart]).max() > 2 * LEAST_LEAK:
                return Leak(matrix, before, misses[best] < _FEW)
        steps = 1.5 / (255 * self.full.min())
        if self.alone[apart].max() > max(LEAST_LEAK, steps):
            return Leak(self.alone, False, False)
        return None

    @cached_property
    def _light_matrix(self) -> Floats:
        """(3, 3) by least squares from the light that is meant, without cut-off readings."""
        levels, light = self._observed
        meant = np.stack([meant_steps(self.curve, f) for f in self.full.tolist()], axis=-1)
        single = meant[levels, np.arange(3)] / (255 * self.full)
        usable = (light > 1) & (light < _TOP)
        return self._solve(single, light, usable) / (255 * self.full[:, None])

    @cached_property
    def _value_matrix(self) -> Floats:
        """(3, 3) the same on levels before the curve, as a share of the level."""
        levels, light = self._observed
        value = 255 * light_to_value(light / (255 * self.full), self.curve)
        usable = (light > 3) & (light < _TOP * np.minimum(self.full, 1))
        return self._solve(levels.astype(float), value, usable)

    def _told(self, before: bool, matrix: Floats) -> Floats:
        """(K, 3) what a matrix, on light or on levels before the curve, predicts."""
        levels, _ = self._observed
        tables = [meant_steps(self.curve, f) for f in self.full.tolist()]
        if before:
            value = np.clip(levels @ matrix.T, 0, 255)
            told = [np.interp(value[:, c], np.arange(256), tables[c]) for c in range(3)]
            return np.stack(told, axis=-1)
        meant = np.stack([tables[c][levels[:, c]] for c in range(3)], axis=-1) / self.full
        return np.asarray((meant @ matrix.T) * self.full)

    @cached_property
    def alone(self) -> Floats:
        """(3, 3) light of output o if channel c alone is at full, as a share of what is meant."""
        return (self.single[:, 255] - self.single[:, 0]).T / (255 * self.full[:, None])

    @cached_property
    def white_alone(self) -> Floats:
        """(3,) light of W if one channel alone is at full, as a share of the brightest meant.

        0 if it is taken from the channels.
        """
        if self.white_is_taken:
            return np.zeros(3)
        white = self.shown.response[:, 255, 3:].sum(axis=-1) - self.shown.black[3:].sum()
        return np.asarray(white / (255 * self.full.max()))

    @property
    def _black(self) -> Floats:
        black = self.shown.black
        return np.asarray(black[:3] + black[3:].sum())

    def _solve(self, told: Floats, shown: Floats, usable: NDArray[np.bool_]) -> Floats:
        """(3, 3) for each output: from told (K, 3) to shown (K, 3), if usable (K, 3)."""
        matrix = np.zeros((3, 3))
        for out in range(3):
            own = usable[:, out]
            if own.sum() >= 12:
                matrix[out] = np.linalg.lstsq(told[own], shown[own, out], rcond=None)[0]
        return matrix

    def misses(self, told: Floats) -> float:
        """Share of the greys and mixtures whose light differs from a prediction (K, 3)."""
        levels, light = self._observed
        several = (levels > 0).sum(axis=-1) > 1
        room = 4 + 0.02 * told + 2 * self._black.max()
        off = np.abs(light - np.clip(told, 0, 255)) > room
        return float(off.any(axis=-1)[several].mean()) if several.any() else 0.0

    @cached_property
    def sums(self) -> Floats:
        """(K, 3) what the sum of single channels predicts for every picture."""
        levels, _ = self._observed
        response = self.shown.response
        rgb = response[..., :3] + response[..., 3:].sum(axis=-1, keepdims=True)  # (3, 256, 3)
        parts = rgb[np.arange(3), levels] - self._black  # (K, 3, 3): channel lit, output
        return np.asarray(parts.sum(axis=1) + self._black)

    @property
    def worst(self) -> tuple[Floats, Floats, Floats]:
        """Levels, what single channels predict, and what is shown (3,) where they differ most."""
        levels, light = self._observed
        told = np.minimum(self.sums, 255)
        worst = int(np.abs(light - told).sum(axis=-1).argmax())
        return levels[worst].astype(float), told[worst], light[worst]

    @cached_property
    def most_together(self) -> float | None:
        """The most drive steps of an LED's channels together, if something limits them."""
        light = self._observed[1]
        total, told = light.sum(axis=-1), np.minimum(self.sums, 255).sum(axis=-1)
        over = total < 0.95 * told - 4
        if over.sum() < 8:
            return None
        cap = float(np.median(total[over]))
        level = np.abs(total[over] - cap) <= 0.03 * cap + 3
        under = told < 0.95 * cap
        right = np.abs(total - told) <= 6
        right_below = under.any() and right[under].mean() > 0.9
        return cap if level.mean() > 0.9 and right_below else None
