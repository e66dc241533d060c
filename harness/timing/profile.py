"""Which picture each LED shows in each frame of a period: the shortest period that fits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from emulator.arrays import Bools
from harness.timing.answers import Indices

MOST_PERIOD = 40
_TIMES = 3  # periods must be seen at least
_LEFT_OVER = 0.005  # of the LEDs may follow no period
_MOST_GROUPS = 12


@dataclass(frozen=True)
class Group:
    """LEDs that show the same: in frame t the state `states[t % len(states)]`."""

    states: tuple[int, ...]
    leds: Indices


def find_groups(states: Bools, begin: int) -> list[Group]:
    """The groups of the shortest period from frame `begin` on; none if there is no period.

    states: (S, T, N) from `possible_states`.
    """
    frames = states.shape[1]
    for period in range(1, min(MOST_PERIOD, (frames - begin) // _TIMES) + 1):
        held = _held(states, begin, period)
        if held.any(axis=0).all(axis=0).mean() >= 1 - _LEFT_OVER:
            return _grouped(held)
    return []


def _held(states: Bools, begin: int, period: int) -> Bools:
    """(S, period, N): states in which each LED may be in all frames of a phase."""
    phases = [
        states[:, begin + (phase - begin) % period :: period].all(axis=1) for phase in range(period)
    ]
    return np.stack(phases, axis=1)


def _grouped(held: Bools) -> list[Group]:
    """LEDs that can share a profile: steady ones first, then those with the least choice."""
    period = held.shape[1]
    left = np.flatnonzero(held.any(axis=0).all(axis=0))
    choice = held.sum(axis=(0, 1))
    groups: list[Group] = []
    profile = np.zeros(period, dtype=np.intp)
    while left.size and len(groups) <= _MOST_GROUPS:
        fits = held[profile[:, None], np.arange(period)[:, None], left].all(axis=0)
        if fits.any():
            groups.append(Group(tuple(profile.tolist()), left[fits]))
            left = left[~fits]
        if left.size:
            seed = left[choice[left].argmin()]
            profile = held[:, :, seed].argmax(axis=0)
    return groups if not left.size else []
