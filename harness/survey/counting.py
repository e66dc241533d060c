"""Which picture of the pattern each still shows, also where one is missing or was taken twice.

A bit and its inverse light the wall's LEDs by turns: where one still is brighter than the mean, the
next is darker. So pairs show themselves. With the light of the whole wall, the most likely way
through the pattern is looked for (A. J. Viterbi, Error bounds for convolutional codes, 1967).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bools, Floats, Ints
from harness.patterns.film import FilmStep

_SWAY = 24  # pixels of a thumbnail by which a hand moves from still to still
# Pixels of it: finer is where LEDs are, which looks another way when the camera moves; wider is the
# light of the room, and people.
_FINE, _WIDE = 1.5, 4.0
# Likeness of a bit and its inverse, and of a still that was taken twice; how far both scatter.
_PAIR, _SAME, _SCATTER = -0.65, 0.8, 0.25
_MOST = 6.0  # that one still costs, or two that follow each other: they may be blurred
_LIGHT, _DARK = 0.25, 0.15  # of the light of the whole wall, by which a picture may be off
_HARDLY = 0.08  # of it: less shows no colour
_CODED = 1.0  # that a picture of the code costs at most for its light, which exposure changes
_OUTSIDE = 2.0  # what a still costs that does not belong to the pattern
_TWICE, _MISSING, _JUMP = 4.0, 5.0, 25.0
_BEGINS = 0.75  # of the pictures before the code: less does not show where a pass begins
_BRIGHTER = 0.95  # of the pairs of a lit and a dark still: less is counted wrongly
_OTHER = 0.5  # of the difference of two colours: so much one differs from itself
_SURE = -0.4  # likeness of pairs, their median, from which on they tell
_CLEAR = 0.45  # by which it may be off where the count changes


def counted(
    light: Floats, tint: Floats, alike: Floats, steps: Sequence[FilmStep]
) -> tuple[Ints, Ints] | None:
    """(T,) the step that each still shows, and in which pass; -1 outside the pattern. None if the
    stills do not tell.

    light: (T,) of the wall, from about 0 in the dark to 1. tint: (T, 3) the same in red, green and
    blue, less the dark. alike: (T,) of `likeness`.
    """
    way = _way(light, alike, steps)
    step = np.where(way == len(steps), -1, way)
    begins = np.append(step[0] >= 0, (step[1:] >= 0) & ((step[:-1] < 0) | (step[1:] < step[:-1])))
    turn = np.where(step >= 0, np.cumsum(begins) - 1, -1)
    coded = np.flatnonzero([one.bit >= 0 for one in steps])
    colours = np.flatnonzero([one.shows in ("red", "green", "blue") for one in steps])
    for one in range(turn.max() + 1):
        own = step[turn == one]
        before = np.unique(own[own < coded[0]]).size
        if before < _BEGINS * coded[0] and own[-1] < len(steps) - 1:
            step[turn == one] = -1  # nobody can say where it begins
        shown = own[np.isin(own, colours)]
        if own[-1] > colours[-1] and abs(shown.size - colours.size) > 1:
            return None
        of_colours = (turn == one) & np.isin(step, colours)
        if not (np.array_equal(shown, colours) and _in_turn(tint[of_colours])):
            step[of_colours] = -1  # nor which colour this is
    sure = _is_sure(step, alike, steps) and _shines(step, light, steps)
    return (step, np.where(step < 0, -1, turn)) if sure else None


def likeness(smalls: NDArray[np.float32], wall: Bools) -> Floats:
    """(T,) how alike what is lit in each still is to the one before: near 1 with the same LEDs, 0
    with others, -1 with those that were dark; 0 for the first.

    smalls: (T, h, w) code values. wall: (h, w) where it is. The camera may move.
    """
    import cv2  # of the extra `camera`

    rows, columns = (np.flatnonzero(wall.any(axis=axis)) for axis in (1, 0))
    part = np.s_[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    inside = wall[part]
    between = [
        cv2.GaussianBlur(one, (0, 0), _FINE) - cv2.GaussianBlur(one, (0, 0), _WIDE)
        for one in smalls
    ]
    fine = np.stack([one[part][inside] for one in between])
    # What does not change with the code: the room, and where LEDs are.
    same = np.stack([np.ones(fine.shape[1]), fine.mean(axis=0), np.quantile(fine, 0.1, axis=0)])
    basis = np.linalg.qr(same.T)[0]
    size = [cv2.getOptimalDFTSize(side + _SWAY) for side in inside.shape]
    found = np.zeros(len(smalls))
    before = np.zeros((size[0], size[1] // 2 + 1), dtype=np.complex128)
    for number, values in enumerate(fine):
        own = np.zeros(inside.shape)
        own[inside] = values - basis @ (basis.T @ values)
        now = np.fft.rfft2(own / max(float(np.linalg.norm(own)), 1e-9), size)
        every = np.fft.irfft2(now * before.conj(), size)
        near = np.roll(every, (_SWAY, _SWAY), (0, 1))[: 2 * _SWAY + 1, : 2 * _SWAY + 1]
        found[number] = near.flat[np.abs(near).argmax()]
        before = now
    return found


def _in_turn(tint: Floats) -> bool:
    """Whether stills (K, 3) show red, green and blue, each as often."""
    tint = (tint / np.maximum(tint.sum(axis=1, keepdims=True), 1e-9)).reshape(3, -1, 3)
    within = np.ptp(tint, axis=1).max()
    between = np.abs(tint.mean(axis=1) - np.roll(tint.mean(axis=1), 1, axis=0)).max(axis=1).min()
    return bool(within < _OTHER * between)


def _fits(light: Floats, steps: Sequence[FilmStep]) -> Floats:
    """(T, steps + 1) what it costs that a still shows a step, or none."""
    meant = np.array([step.lit for step in steps])
    colour = np.array([step.shows in ("red", "green", "blue") for step in steps])
    scale = np.where(meant == 0, _DARK, _LIGHT)
    lit = np.clip(light / _HARDLY, 0, 1)[:, None]  # of a colour nobody knows how bright it is
    off = np.where(colour, _MOST - (_MOST - 1) * lit, ((light[:, None] - meant) / scale) ** 2)
    coded = np.array([step.bit >= 0 for step in steps])
    costs = np.minimum(off, np.where(coded, _CODED, _MOST))
    return np.column_stack([costs, np.full(len(light), _OUTSIDE)])


def _pairs(steps: Sequence[FilmStep]) -> tuple[Floats, Bools]:
    """(from, to) the likeness that is expected from step to step, and whether any is."""
    bit = np.array([step.bit for step in steps])
    bits = np.array([step.shows == "bit" for step in steps])
    coded = (bit >= 0)[:, None] & (bit >= 0)
    same = bit[:, None] == bit
    meant = np.where(same, np.where(bits[:, None] == bits, _SAME, _PAIR), 0.0)
    return meant, coded


def _moves(count: int) -> Floats:
    """(from, to) what it costs to go from step to step; the last is outside."""
    cost = np.full((count + 1, count + 1), np.inf)
    every = np.arange(count)
    cost[every, every] = _TWICE
    cost[every[:-1], every[1:]] = 0.0
    cost[every[:-2], every[2:]] = _MISSING
    cost[:, count] = _JUMP  # stopped early
    cost[count, :] = _JUMP  # begun late
    cost[count, count] = cost[count, 0] = 0.0
    cost[count, 1] = cost[-4:-1, 0] = cost[-4:-1, count] = 0.5  # the dark at both ends
    cost[count - 1, 0] = cost[count - 1, count] = 0.0
    return cost


def _way(light: Floats, alike: Floats, steps: Sequence[FilmStep]) -> Ints:
    """(T,) the step of each still, of the most likely way; the number of steps is outside."""
    count = len(steps)
    fits, moves = _fits(light, steps), _moves(count)
    meant, coded = _pairs(steps)
    total = fits[0] + moves[count]
    before = np.zeros((len(light), count + 1), dtype=np.int64)
    for number in range(1, len(light)):
        cost = moves.copy()
        off = alike[number] - meant
        off = np.where(meant * off > 0, 0.0, off)  # more alike, or less, than they need be
        off = np.minimum((off / _SCATTER) ** 2, _MOST)
        cost[:count, :count] += np.where(coded, off, 0.0)
        ways = total[:, None] + cost
        before[number] = ways.argmin(axis=0)
        total = ways.min(axis=0) + fits[number]
    way = [int(total.argmin())]
    for number in range(len(light) - 1, 0, -1):
        way.append(int(before[number][way[-1]]))
    return np.array(way[::-1])


def _shines(step: Ints, light: Floats, steps: Sequence[FilmStep]) -> bool:
    """Whether the wall is brighter where it should be lit than where it should be dark."""
    shows = np.array([*(one.shows for one in steps), ""])[step]
    on, dark = light[shows == "on"], light[shows == "dark"]
    return bool(on.size and dark.size and np.mean(on[:, None] > dark) > _BRIGHTER)


def _is_sure(step: Ints, alike: Floats, steps: Sequence[FilmStep]) -> bool:
    """Whether pairs are seen, and nothing speaks against how they are counted where a still is
    missing or was taken twice."""
    meant, coded = _pairs(steps)
    a, b = step[:-1], step[1:]
    both = (a >= 0) & (b >= 0)
    both &= coded[a, b]
    expected, seen = meant[a, b], alike[1:]
    pairs = both & (expected == _PAIR)
    if not pairs.any() or np.median(seen[pairs]) > _SURE:
        return False
    odd = np.flatnonzero(both & (b - a != 1))
    if odd.size and np.diff(odd).min(initial=9) < 3:
        return False
    near = (np.abs(np.arange(len(a))[:, None] - odd) <= 2).any(axis=1)
    return not bool((both & near & (np.abs(seen - expected) > _CLEAR)).any())
