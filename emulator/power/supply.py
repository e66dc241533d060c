"""Supplies over time: each holds its volts, folds back, or trips and tries again.

A supply that folds back gives its rated current at a lower voltage (emulator.power.solve). A supply
that trips is off for its retry time, from the frame that overloads it. Then it comes back, and
trips again at once if it is still overloaded. Not modelled: ripple, the rise and fall of the
output, and supplies that give less current the lower their voltage falls.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bytes, Times
from emulator.description.chips import Chip
from emulator.power.network import Network
from emulator.power.solve import Rails, solve_rails

_MOST_AHEAD = 64  # frames solved at a time; after a trip the later ones are solved again


@dataclass(frozen=True, eq=False)
class Powered:
    """Rails over time. on: bool (T, S), whether each supply is on.

    off_until_ns: int64 (S,), when each tripped supply tries again; give it to the next call.
    """

    rails: Rails
    on: NDArray[np.bool_]
    off_until_ns: Times


def run_supplies(
    network: Network,
    drives: Bytes,
    chip: Chip,
    times_ns: Times,
    off_until_ns: Times | None = None,
) -> Powered:
    """The power of drives, uint8 (T, N, C), shown from times_ns (T,) on; supplies may trip.

    times_ns: int64, must not fall. off_until_ns: (S,) from the last call. Each frame is shown until
    the next one. Supplies change only when a frame begins: one that could retry between two frames
    does so at the second.
    """
    trips = network.trips
    retry_ns = np.array([round(s.retry_s * 1e9) for s in network.power.supply], dtype=np.int64)
    until = (
        np.full(network.supplies, np.iinfo(np.int64).min) if off_until_ns is None else off_until_ns
    )
    if not trips.any():
        on = np.ones((len(drives), network.supplies), dtype=np.bool_)
        return Powered(solve_rails(network, drives, chip), on, until)
    until = until.copy()
    pieces: list[Rails] = []
    states: list[NDArray[np.bool_]] = []
    at = 0
    while at < len(drives):
        on = until <= times_ns[at]
        retries = until[~on].min(initial=np.iinfo(np.int64).max)
        end = min(len(drives), at + _MOST_AHEAD, int(np.searchsorted(times_ns, retries)))
        # A supply that can trip gives any current until it trips.
        most_a = np.where(on, np.where(trips, np.inf, network.supply_amps), 0.0)
        rails = solve_rails(network, drives[at:end], chip, most_a)
        over = trips & (rails.supply_current_a > network.supply_amps)
        good = int(np.argmax(over.any(axis=1))) if over.any() else end - at
        if good:
            pieces.append(_frames(rails, good))
            states.append(np.tile(on, (good, 1)))
        at += good
        if good < end - (at - good):
            until[over[good]] = times_ns[at] + retry_ns[over[good]]
    if not pieces:
        pieces.append(solve_rails(network, drives, chip))
        states.append(np.ones((0, network.supplies), dtype=np.bool_))
    return Powered(_joined(pieces), np.concatenate(states), until)


def _frames(rails: Rails, count: int) -> Rails:
    return Rails(*(getattr(rails, name)[:count] for name in Rails.__dataclass_fields__))


def _joined(pieces: list[Rails]) -> Rails:
    names = Rails.__dataclass_fields__
    return Rails(*(np.concatenate([getattr(p, name) for p in pieces]) for name in names))
