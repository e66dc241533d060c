"""The pattern laid on the changes of a film: its beginning, its pace, and each of its pictures."""

from __future__ import annotations

import numpy as np

from emulator.arrays import Floats, Ints
from harness.patterns.film import FilmStep

# How the changes of a film are followed: by how many pictures they may be early or late, in shares
# of one; what a picture of drift costs, and a jump of up to so many pictures, if a change that is
# seen gains 1.
_LATE, _SHARES, _DRIFT, _JUMP, _FAR = 3, 24, 12.0, 1.5, 0.4


_NEAR, _ECHOES = 0.15, 8  # how far the marker's pace may be off; pictures after which it echoes


def echoed(times_s: Floats, change: Floats, pace_s: float) -> float:
    """The pace, near the one given, at which changes come again and again."""
    fine, energy = _energy(times_s, change)
    energy = energy - energy.mean()
    paces_s = pace_s * np.linspace(1 - _NEAR, 1 + _NEAR, 121)
    late = np.rint(paces_s[:, None] * np.arange(1, _ECHOES + 1) / (fine[1] - fine[0])).astype(int)
    echo = [sum(float((energy[k:] * energy[:-k]).mean()) for k in some) for some in late.tolist()]
    return float(paces_s[int(np.argmax(echo))])


def refined(
    times_s: Floats,
    change: Floats,
    begin_s: float,
    pace_s: float,
    steps: tuple[FilmStep, ...],
) -> tuple[float, float]:
    """Beginning and pace at which the film changes where the pattern does."""
    turns = _turns(steps)
    fine, energy = _energy(times_s, change)
    for reach, tilt, grid in ((0.4, 0.04, 81), (0.15, 0.003, 31), (0.05, 0.0006, 31)):
        shifts = np.linspace(-reach, reach, 31) * pace_s
        paces = pace_s * (1 + np.linspace(-tilt, tilt, grid))
        middle = turns[4]  # the search is exact at the marker
        at = (
            begin_s
            + shifts[:, None, None]
            + middle * pace_s
            + (turns - middle)[None, None, :] * paces[None, :, None]
        )
        score = np.interp(at, fine, energy, left=0.0, right=0.0).sum(axis=-1)
        i, j = np.unravel_index(int(score.argmax()), score.shape)
        begin_s, pace_s = (
            begin_s + float(shifts[i]) + middle * (pace_s - float(paces[j])),
            float(paces[j]),
        )
    return begin_s, pace_s


def _turns(steps: tuple[FilmStep, ...]) -> Ints:
    """The steps that show something else than the step before."""
    return np.array([k for k in range(1, len(steps)) if steps[k] != steps[k - 1]])


def _energy(times_s: Floats, change: Floats) -> tuple[Floats, Floats]:
    """Moments, and how much the film changes there: between two frames, and as long as one."""
    half = np.median(np.diff(times_s)) / 2
    rise = np.minimum(change, np.quantile(change, 0.97)) - np.median(change)
    fine = np.arange(times_s[0], times_s[-1], min(0.004, half / 4))
    energy = np.interp(fine, times_s - half, rise)
    return fine, np.convolve(energy, np.ones(5) / 5, "same")


def followed(
    times_s: Floats, change: Floats, begin_s: float, pace_s: float, steps: tuple[FilmStep, ...]
) -> tuple[Floats, float]:
    """(steps + 1,) when each step begins, and the last ends, as the film changes; and how many of
    these changes it shows, less what jumps and drift cost.

    Where a camera loses frames, or a file has some twice, and the times do not say so, the pattern
    jumps a little. The most likely way through the changes is looked for (A. J. Viterbi, Error
    bounds for convolutional codes, 1967); a jump must be worth it in the steps that follow.
    """
    turns = _turns(steps)
    late_s = np.linspace(-_LATE, _LATE, 2 * _SHARES * _LATE + 1) * pace_s
    at = begin_s + turns[:, None] * pace_s + late_s
    fine, energy = _energy(times_s, change)
    seen = np.interp(at, fine, energy, left=0.0, right=0.0)
    usual = float(np.median(seen.max(axis=1))) + 1e-12
    gain = np.clip(seen / usual, -1, 1)
    far = np.abs(late_s[:, None] - late_s) / pace_s
    jump = np.minimum(_DRIFT * far, _JUMP)
    # More can be lost while nothing changes for several pictures, as in the marker.
    cost = {
        some: np.where(far > _FAR * some, np.inf, jump) for some in set(np.diff(turns).tolist())
    }
    total, before = gain[0], np.zeros((len(turns), len(late_s)), dtype=np.int64)
    for k in range(1, len(turns)):
        ways = total[None, :] - cost[int(turns[k] - turns[k - 1])]
        before[k] = ways.argmax(axis=1)
        total = ways.max(axis=1) + gain[k]
    way = [int(total.argmax())]
    for k in range(len(turns) - 1, 0, -1):
        way.append(int(before[k][way[-1]]))
    every = np.arange(len(steps) + 1)
    edges = begin_s + every * pace_s + np.interp(every, turns, late_s[way[::-1]])
    edges = np.maximum.accumulate(edges + every * 1e-6)
    return np.asarray(edges, dtype=np.float64), float(total.max())
