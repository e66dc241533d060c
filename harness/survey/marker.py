"""The marker, in which the whole wall blinks, in the light of a film: where and at what pace."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Floats, Ints
from harness.patterns.film import FilmStep

BLOCKS = (24, 42)  # rows, columns of the blocks of a frame, in which light is watched
_FINE = 8  # moments a picture, in the search
_MARKED = 0.6  # correlation with the marker and what follows it
_MARKED_ALONE = 0.7  # the same of one part of many, of which the best is taken
_PART = 6  # blocks along the side of such a part
_FOLLOWS = 0.6  # correlation of a block with all on and all dark; less is noise, or people
_CALM = 16  # pictures of the code that follow the marker in the search


Marked = tuple[Floats, float, float]  # weight of each block, beginning and pace of the pattern


def marker_of(
    times_s: Floats, lit: NDArray[np.float32], steps: tuple[FilmStep, ...], paces_s: Floats
) -> Marked | None:
    """The weight (blocks,) of each block, and beginning and pace of the pattern in their light;
    None if there is no marker.

    times_s: (T,) of the frames. lit: (T, blocks) their light. paces_s: seconds a picture, to try.
    """
    for way in (_by_light, _by_jumps, _by_parts):
        if found := way(times_s, lit, steps, paces_s):
            return found
    return None


def _by_light(
    times_s: Floats, lit: NDArray[np.float32], steps: tuple[FilmStep, ...], paces_s: Floats
) -> Marked | None:
    """By the blocks that change most, then by those that follow the marker."""
    template = np.array([step.lit for step in steps])
    plain = np.array([step.shows in ("on", "dark") for step in steps])
    weight = lit.std(axis=0).astype(np.float64)
    score, begin_s, pace_s = 0.0, 0.0, 1.0
    for _ in range(2):
        weighed = lit @ (weight / max(float(weight.sum()), 1e-12))
        score, begin_s, pace_s = search(times_s, weighed, steps, paces_s)
        # Blocks that are lit and dark with the whole wall weigh, not those where people pass.
        at = np.floor((times_s - begin_s) / pace_s).astype(int)
        inside = (at >= 0) & (at < len(steps)) & plain[at.clip(0, len(steps) - 1)]
        if inside.sum() < 8:
            return None
        weight = weight_of(lit[inside], template[at[inside]])
    return None if score < _MARKED or not weight.any() else (weight, begin_s, pace_s)


def weight_of(lit: NDArray[np.floating], meant: Floats) -> Floats:
    """(blocks,) how much each follows what is meant (T,), 0 for those that do other things."""
    meant = meant - meant.mean()
    moves = lit - lit.mean(axis=0)
    size = np.linalg.norm(meant) * np.linalg.norm(moves, axis=0) + 1e-9
    along = meant @ moves
    return np.where(along > _FOLLOWS * size, along, 0.0)


def _by_jumps(
    times_s: Floats, lit: NDArray[np.float32], steps: tuple[FilmStep, ...], paces_s: Floats
) -> Marked | None:
    """The same, of the blocks that jump most from frame to frame.

    An exposure that follows the light changes the whole picture, but slowly.
    """
    whole = np.zeros(lit.shape[1], dtype=np.int64)
    return _by_jumps_in(whole, _MARKED, times_s, lit, steps, paces_s)


def _by_parts(
    times_s: Floats, lit: NDArray[np.float32], steps: tuple[FilmStep, ...], paces_s: Floats
) -> Marked | None:
    """The same, by the part of the picture whose jumps are most like the marker: other things that
    blink or move are in other parts."""
    rows, columns = np.indices(BLOCKS)
    part_of = (rows // _PART * BLOCKS[1] + columns // _PART).ravel()
    return _by_jumps_in(part_of, _MARKED_ALONE, times_s, lit, steps, paces_s)


def _by_jumps_in(
    part_of: Ints,
    least: float,
    times_s: Floats,
    lit: NDArray[np.float32],
    steps: tuple[FilmStep, ...],
    paces_s: Floats,
) -> Marked | None:
    """By the blocks that jump most in the part that correlates most with the marker, by so much at
    least. part_of: (blocks,) the number of the part of each."""
    size = np.sqrt((np.diff(lit, axis=0) ** 2).mean(axis=0)).astype(np.float64)
    found = []
    for part in np.unique(part_of):
        own = np.where(part_of == part, size, 0.0)
        weight = np.where(own > 0.5 * own.max(), own, 0.0)
        if weight.any():
            weighed = lit @ (weight / weight.sum())
            found.append((search(times_s, weighed, steps, paces_s), weight))
    if not found:
        return None
    (score, begin_s, pace_s), weight = max(found, key=lambda one: one[0][0])
    return None if score < least else (weight, begin_s, pace_s)


def search(
    times_s: Floats, light: Floats, steps: tuple[FilmStep, ...], paces_s: Floats
) -> tuple[float, float, float]:
    """The best correlation with marker and beginning, when step 0 begins there, and the pace.

    Of the light, or of its jumps, in which an exposure that follows the light matters less.
    """
    first = next(number for number, step in enumerate(steps) if step.shows == "on")
    coded = next(number for number, step in enumerate(steps) if step.bit >= 0)
    coded_steps = sum(step.bit >= 0 for step in steps)
    part = steps[first : coded + min(_CALM, coded_steps)]
    template = np.repeat([step.lit for step in part], _FINE)
    edges = _jumps(template + 0.1)
    best = (-1.0, 0.0, 1.0)
    least_s = float(np.median(np.diff(times_s))) * 0.9
    for pace_s in paces_s.tolist():
        if pace_s < least_s or pace_s * len(part) > (times_s[-1] - times_s[0]) * 1.2 + 2 * pace_s:
            continue
        moments = np.arange(times_s[0] - pace_s, times_s[-1] + pace_s, pace_s / _FINE)
        if len(moments) < len(template):
            continue
        series = np.interp(moments, times_s, light)
        for score in (
            _correlation(series, template, 0.3),
            _correlation(_jumps(series + 1.0), edges, 0.02),
        ):
            at = int(score.argmax())
            if score[at] > best[0]:
                best = (float(score[at]), float(moments[at]) - first * pace_s, float(pace_s))
    return best


def _jumps(light: Floats) -> Floats:
    """By how much light (T,) changes in half a picture, as a logarithm."""
    log = np.log(light)
    before = np.concatenate([np.full(_FINE // 2, log[0]), log[: -_FINE // 2]])
    return np.asarray(np.clip(log - before, -1.5, 1.5))


def _correlation(series: Floats, template: Floats, noise: float) -> Floats:
    """Normalised correlation of a template with each window of a series that has some noise."""
    from scipy.signal import fftconvolve  # of the extra `campaign`; slow to load

    size = len(template)
    meant = template - template.mean()
    mean = fftconvolve(series, np.ones(size) / size, "valid")
    square = fftconvolve(series**2, np.ones(size) / size, "valid")
    spread = np.sqrt(np.clip(square - mean**2, 0, None))
    spread = np.maximum(spread, max(0.05 * float(spread.max()), noise))
    along = fftconvolve(series, meant[::-1], "valid")
    return np.asarray(along / (size * spread * meant.std()))
