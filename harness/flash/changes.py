"""Opposing changes of luminance and of saturated red, place by place, and flashes in a second.

The definitions are those of WCAG 2.2, 'general flash and red flash thresholds'. Light is linear
R, G, B, 1 at the white of the display, and is used as the screen's R, G, B of IEC 61966-2-1.
"""

from __future__ import annotations

import functools

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Floats
from emulator.clock import SECOND_NS
from emulator.light.screen import screen_from_xyz
from emulator.picture.srgb import LUMINANCE

Changes = NDArray[np.int8]

_ROUNDING = 1e-6  # of float32 light: a change of exactly a tenth counts
LEAST_CHANGE = 0.1  # of the maximum relative luminance
_LEAST = LEAST_CHANGE - _ROUNDING
DARKER_BELOW = 0.8  # relative luminance of the darker image
SATURATED = 0.8  # R/(R+G+B)
LEAST_COLOUR_CHANGE = 0.2  # in CIE 1976 u', v'
# The definition does not say what colour darkness has. Our choice, on the safe side: a place with
# less light than this in R+G+B counts as white, so that red on and off is a red flash.
_COLOURLESS = 0.05
# Frames in one go. In so few, most places change little, and one test excludes all of those.
_BLOCK = 64


def relative_luminance(light: NDArray[np.floating]) -> Floats:
    """Relative luminance (…) of linear light (…, 3): 1 at white (IEC 61966-2-1 weights)."""
    return np.asarray(light @ LUMINANCE, dtype=np.float64)


class GeneralChanges:
    """Finds general changes of places, frame by frame.

    A change needs a tenth of full white since the last turning point, and a darker end below 0.80.
    Rises and falls of a place alternate: a slow rise over many frames is one change, marked where
    it has reached a tenth. Less than a tenth does not count. If the brighter end exceeds white, it
    counts as the white: the darker end must be below 0.80 of it.
    """

    def __init__(self) -> None:
        self._low = self._high = np.zeros(0)
        self._last: Changes = np.zeros(0, dtype=np.int8)  # none yet: no place is known

    def take(self, luminance: Floats) -> Changes:
        """(T, M) int8: +1 where relative luminance (T, M) has risen, -1 where it has fallen."""
        changes = np.zeros(luminance.shape, dtype=np.int8)
        if not self._last.size and len(luminance):
            self._low, self._high = luminance[0].copy(), luminance[0].copy()
            self._last = np.zeros(self._low.shape, dtype=np.int8)
        for begin in range(0, len(luminance), _BLOCK):
            block = luminance[begin : begin + _BLOCK]
            low, high = np.minimum(self._low, block.min(axis=0)), block.max(axis=0)
            np.maximum(self._high, high, out=high)
            some = np.flatnonzero(high - low >= _LEAST)
            changes[begin : begin + _BLOCK, some] = self._turns(block[:, some], some)
            low[some], high[some] = self._low[some], self._high[some]
            self._low, self._high = low, high
        return changes

    def _turns(self, luminance: Floats, places: NDArray[np.intp]) -> Changes:
        """(T, m) the changes of some places, frame by frame."""
        changes = np.zeros(luminance.shape, dtype=np.int8)
        low, high, last = self._low[places], self._high[places], self._last[places]
        for now, change in zip(luminance, changes, strict=True):
            rose = (last <= 0) & (now - low >= _LEAST) & (low < DARKER_BELOW * np.maximum(now, 1))
            fell = (last >= 0) & (high - now >= _LEAST) & (now < DARKER_BELOW * np.maximum(high, 1))
            change += rose
            change -= fell
            turned = rose | fell
            last = np.where(turned, change, last)
            low = np.where(turned, now, np.minimum(low, now))
            high = np.where(turned, now, np.maximum(high, now))
        self._low[places], self._high[places], self._last[places] = low, high, last
        return changes


def general_changes(luminance: Floats) -> Changes:
    """(T, M) the general changes of all of a relative luminance (T, M): see GeneralChanges."""
    return GeneralChanges().take(luminance)


@functools.cache
def _parts_of_uv() -> Floats:
    """(3, 3) from light to 4 X, 9 Y and X + 15 Y + 3 Z, the parts of u' and v'."""
    xyz = np.linalg.inv(screen_from_xyz())
    return np.asarray((np.array([[4, 0, 0], [0, 9, 0], [1, 15, 3]]) @ xyz).T)


def _total(light: NDArray[np.floating]) -> NDArray[np.floating]:
    """R + G + B (…) of light (…, 3); numpy's sum is slow over so short an axis."""
    return np.asarray(light[..., 0] + light[..., 1] + light[..., 2])


def chromaticity_uv(light: NDArray[np.floating]) -> Floats:
    """CIE 1976 u', v' (…, 2) of linear light (…, 3); for nearly dark light, that of white."""
    parts = light.reshape(-1, 3) @ _parts_of_uv()
    parts[(_total(light) < _COLOURLESS).ravel()] = _parts_of_uv().sum(axis=0)
    colour = np.empty((*light.shape[:-1], 2))
    for number in (0, 1):
        np.divide(parts[:, number], parts[:, 2], out=colour.reshape(-1, 2)[:, number])
    return colour


class RedChanges:
    """Finds changes of places to and from saturated red, frame by frame.

    Saturated means R/(R+G+B) of 0.8 or more. The other colour must be more than 0.2 away in u', v'.
    It may be any colour since the last change, so that gradual changes also count.
    """

    def __init__(self) -> None:
        self._last: Changes = np.zeros(0, dtype=np.int8)

    def take(self, light: NDArray[np.floating]) -> Changes:
        """(T, M) int8: +1 where light (T, M, 3) has become saturated red, -1 where it left."""
        changes = np.zeros(light.shape[:2], dtype=np.int8)
        if not self._last.size:
            self._last = np.zeros(light.shape[1], dtype=np.int8)
            self._reds, self._others = _Colours(light.shape[1]), _Colours(light.shape[1])
        for begin in range(0, len(light), _BLOCK):
            block = light[begin : begin + _BLOCK]
            total = _total(block)
            red = (total >= _COLOURLESS) & (block[..., 0] >= (SATURATED - _ROUNDING) * total)
            colour = chromaticity_uv(block)
            reds, others = red.any(axis=0) | self._reds.any, ~red.all(axis=0) | self._others.any
            for colours, alone in ((self._others, ~reds), (self._reds, ~others)):
                colours.add(colour[:, alone], np.flatnonzero(alone))
            some = np.flatnonzero(reds & others)
            turns = self._turns(colour[:, some], red[:, some], some)
            changes[begin : begin + _BLOCK, some] = turns
        return changes

    def _turns(self, colours: Floats, reds: NDArray[np.bool_], places: NDArray[np.intp]) -> Changes:
        """(T, m) the changes of some places, frame by frame."""
        changes = np.zeros(reds.shape, dtype=np.int8)
        if not places.size:
            return changes
        last = self._last[places]
        for now, red, change in zip(colours, reds, changes, strict=True):
            came = self._others.any_far_from(now, places, (last <= 0) & red)
            left = self._reds.any_far_from(now, places, (last >= 0) & ~red)
            change += came
            change -= left
            last = np.where(came | left, change, last)
            for mine, turned, seen in ((self._reds, came, red), (self._others, left, ~red)):
                mine.forget(places[turned])
                mine.add(now[None, seen], places[seen])
        self._last[places] = last
        return changes


def red_changes(light: NDArray[np.floating]) -> Changes:
    """(T, M) the red changes of all of a light (T, M, 3): see RedChanges."""
    return RedChanges().take(light)


class _Colours:
    """Colours that M places have had: the outermost in each of eight directions of u', v'.

    The colour farthest from any other is an outermost one. Between the directions, the one found
    may be nearer by at most 8 % (1 − cos 22.5°).
    """

    def __init__(self, places: int) -> None:
        angles = np.arange(8) * np.pi / 4
        self._across, self._along = np.cos(angles), np.sin(angles)
        self._reach = np.full((places, 8), -np.inf)
        self._outermost = np.zeros((places, 8, 2))
        self.any = np.zeros(places, dtype=np.bool_)

    def any_far_from(
        self, colour: Floats, places: NDArray[np.intp], where: NDArray[np.bool_]
    ) -> NDArray[np.bool_]:
        """(m,) whether a past colour of places (m,), `where` asked, is over 0.2 from one (m, 2)."""
        far = np.zeros(where.shape, dtype=np.bool_)
        asked = np.flatnonzero(where & self.any[places])
        if asked.size:
            square = (self._outermost[places[asked]] - colour[asked, None]) ** 2
            far[asked] = square.sum(axis=-1).max(axis=1) > LEAST_COLOUR_CHANGE**2
        return far

    def forget(self, places: NDArray[np.intp]) -> None:
        """Forget the colours of places (m,); the caller then adds one to each."""
        self._reach[places] = -np.inf

    def add(self, colours: Floats, places: NDArray[np.intp]) -> None:
        """Add colours (T, m, 2) of places (m,)."""
        if not places.size:
            return
        across, along = np.ascontiguousarray(colours[..., 0]), np.ascontiguousarray(colours[..., 1])
        for direction in range(4):  # each with the one opposite
            reach = across * self._across[direction] + along * self._along[direction]
            self._keep(direction, reach.max(axis=0), reach, colours, places)
            np.negative(reach, out=reach)
            self._keep(direction + 4, reach.max(axis=0), reach, colours, places)
        self.any[places] = True

    def _keep(
        self,
        direction: int,
        most: Floats,
        reach: Floats,
        colours: Floats,
        places: NDArray[np.intp],
    ) -> None:
        """Keep colours (T, m, 2) whose reach (T, m), largest at `most` (m,), exceeds all so far."""
        farther = np.flatnonzero(most > self._reach[places, direction])
        if farther.size:
            first = reach[:, farther].argmax(axis=0)
            self._reach[places[farther], direction] = most[farther]
            self._outermost[places[farther], direction] = colours[first, farther]


def flashes_by_second(changes: Changes, times_ns: NDArray[np.int64]) -> NDArray[np.int32]:
    """(T, M) flashes in the second up to and with each time: pairs of opposing changes (T, M).

    times_ns: (T,), rising. Both ends of the second belong to it.
    """
    total = np.zeros((len(changes) + 1, *changes.shape[1:]), dtype=np.int32)
    np.cumsum(np.abs(changes), axis=0, out=total[1:])
    first = np.searchsorted(times_ns, times_ns - SECOND_NS, side="left")
    pairs: NDArray[np.int32] = (total[1:] - total[first]) // 2
    return pairs


def alternating(signs: Changes, last: Changes) -> Changes:
    """Signs (T, M) of -1, 0 and +1 without those that repeat the last sign of their place.

    last: (M,) the last sign of each place before, 0 for none; it is updated.
    """
    kept = np.zeros_like(signs)
    for sign, keep in zip(signs, kept, strict=True):
        keep[...] = np.where(sign != last, sign, 0)
        last[...] = np.where(sign != 0, sign, last)
    return kept
