"""How red, green and blue mix: the matrix from the light of each channel alone to that shown."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from emulator.description.canvas import Curve
from emulator.picture.curve import light_to_value
from harness.measure.laws import meant_steps
from harness.measure.measurement import Shown

Floats = NDArray[np.float64]

_TOP = 254.0  # drive steps from which a channel is cut off and tells no more


@dataclass(frozen=True)
class Mixing:
    """Drive steps over levels of single channels, greys and mixtures.

    full: (3,) light of full white in shares of a channel at full drive. curve: of the canvas.
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
        """Whether W, where it lights with one channel, gives a part of what that is to give.

        Else it is added, and its light is none of the channel's own.
        """
        response = self.shown.response
        both = response[np.arange(3), :, np.arange(3)] + response[..., 3:].sum(axis=-1)
        return bool((both.max(axis=-1) <= 1.05 * 255 * self.full).all())

    @cached_property
    def single(self) -> Floats:
        """(3, 256, 3) light of each output when one channel is at a level alone.

        With the light of W, where that is taken from red, green and blue.
        """
        response, black = self.shown.response, self.shown.black[3:].sum()
        white = response[..., 3:].sum(axis=-1, keepdims=True)
        light: Floats = response[..., :3] + (white if self.white_is_taken else black)
        return light

    @cached_property
    def own(self) -> Floats:
        """(256, 3) light of each channel when it is lit alone, without what W adds."""
        alone: Floats = self.single[np.arange(3), :, np.arange(3)].T
        return alone

    @cached_property
    def matrix(self) -> Floats:
        """(3, 3) light of output o for channel c at full, in shares of what is meant.

        By least squares over all pictures, linear in the light of each channel. The curve of
        each channel is the one it shows alone, so that a wrong curve makes no mixing.
        """
        levels, light = self._observed
        top = self.own[255]
        share = np.where(top > 1, self.own / np.maximum(top, 1), 0.0)
        single = share[levels, np.arange(3)] - self._dark(share)[levels, np.arange(3)]
        return self._solve(single, light - self._black) / (255 * self.full[:, None])

    @cached_property
    def value_matrix(self) -> Floats:
        """(3, 3) the same on levels before the curve, in shares of the level."""
        levels, light = self._observed
        value = 255 * light_to_value(light / (255 * self.full), self.curve)
        value[light < 3] = np.nan
        matrix = np.zeros((3, 3))
        for out in range(3):
            usable = np.isfinite(value[:, out]) & (light[:, out] < _TOP * min(self.full[out], 1))
            if usable.sum() >= 12:
                matrix[out] = np.linalg.lstsq(
                    levels[usable].astype(float), value[usable, out], rcond=None
                )[0]
        return matrix

    @cached_property
    def alone(self) -> Floats:
        """(3, 3) light of output o for channel c at full alone, in shares of what is meant."""
        return (self.single[:, 255] - self._black).T / (255 * self.full[:, None])

    @cached_property
    def white_alone(self) -> Floats:
        """(3,) light of W for one channel at full alone, in shares of the brightest meant.

        0 where it is taken from the channels.
        """
        if self.white_is_taken:
            return np.zeros(3)
        white = self.shown.response[:, 255, 3:].sum(axis=-1) - self.shown.black[3:].sum()
        return np.asarray(white / (255 * self.full.max()))

    @property
    def _black(self) -> Floats:
        black = self.shown.black
        return np.asarray(black[:3] + black[3:].sum())

    def _dark(self, share: Floats) -> Floats:
        return np.broadcast_to(share[:1], share.shape)

    def _solve(self, single: Floats, light: Floats) -> Floats:
        matrix = np.zeros((3, 3))
        for out in range(3):
            usable = light[:, out] < _TOP - self._black[out]
            if usable.sum() >= 12:
                matrix[out] = np.linalg.lstsq(single[usable], light[usable, out], rcond=None)[0]
        return matrix

    def misses(self, told: Floats) -> float:
        """Share of the greys and mixtures whose light is not the one told (K, 3)."""
        levels, light = self._observed
        several = (levels > 0).sum(axis=-1) > 1
        room = 4 + 0.02 * told + 2 * self._black.max()
        off = np.abs(light - np.clip(told, 0, 255)) > room
        return float(off.any(axis=-1)[several].mean()) if several.any() else 0.0

    @cached_property
    def sums(self) -> Floats:
        """(K, 3) what single channels, one added to the other, tell of every picture."""
        levels, _ = self._observed
        response = self.shown.response
        rgb = response[..., :3] + response[..., 3:].sum(axis=-1, keepdims=True)  # (3, 256, 3)
        parts = rgb[np.arange(3), levels] - self._black  # (K, 3, 3): channel lit, output
        return np.asarray(parts.sum(axis=1) + self._black)

    @cached_property
    def by_values(self) -> Floats:
        """(K, 3) what the matrix before the curve tells of every picture."""
        levels, _ = self._observed
        value = np.clip(levels @ self.value_matrix.T, 0, 255)
        tables = [np.interp(value[:, c], np.arange(256), meant_steps(self.curve, self.full[c]))
                  for c in range(3)]  # fmt: skip
        return np.stack(tables, axis=-1)

    @cached_property
    def most_together(self) -> float | None:
        """Drive steps that an LED's channels give together at most, where something caps them."""
        light = self._observed[1]
        total, told = light.sum(axis=-1), np.minimum(self.sums, 255).sum(axis=-1)
        over = total < 0.95 * told - 4
        if over.sum() < 8:
            return None
        cap = float(np.median(total[over]))
        level = np.abs(total[over] - cap) <= 0.03 * cap + 3
        under = told < 0.95 * cap
        right = np.abs(total - told) <= 6
        return cap if level.mean() > 0.9 and right[under].mean() > 0.9 else None
