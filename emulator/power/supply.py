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
    before: Rails | None = None,
) -> Powered:
    """The power of drives, uint8 (T, N, C), shown from times_ns (T,) on; supplies may trip.

    times_ns: int64, must not fall. off_until_ns: (S,) from the last call. Each frame is shown until
    the next one. Supplies change only when a frame begins: one that could retry between two frames
    does so at the second. before: as for `solve_rails`.
    """
    trips = network.trips
    retry_ns = np.array([round(s.retry_s * 1e9) for s in network.power.supply], dtype=np.int64)
    until = (
        np.full(network.supplies, np.iinfo(np.int64).min) if off_until_ns is None else off_until_ns
    )
    if not trips.any():
        on = np.ones((len(drives), network.supplies), dtype=np.bool_)
        return Powered(solve_rails(network, drives, chip, before=before), on, until)
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
        rails = solve_rails(network, drives[at:end], chip, most_a, before)
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


class Supplies:
    """The supplies of one wall through time, and the power of single frames.

    A frame asked for twice is solved once, and each begins with the volts of the one before: in a
    moving picture they are near.
    """

    def __init__(self, chip: Chip) -> None:
        self._chip = chip
        self._off_until_ns: Times | None = None  # supplies that have tripped
        self._near: tuple[Network, Rails] | None = None
        # The wires, the time if it matters, the drives, the result.
        self._solved: list[tuple[Network, int, Bytes, Powered]] = []

    def run(self, network: Network, drives: Bytes, times_ns: Times) -> None:
        """Update the state of the supplies through frames (T, N, C) latched at times_ns (T,)."""
        if network.trips.any():  # the others have no state
            self._off_until_ns = self._fed(network, drives, times_ns).off_until_ns
            self._solved = []

    def power(self, network: Network, drives: Bytes, now_ns: int) -> Powered:
        """What drives (N, C) get at a time, with the supplies as they are; changes nothing.

        The drives must not change afterwards.
        """
        key_ns = now_ns if network.trips.any() else 0
        for wires, at_ns, known, powered in self._solved:
            if wires is network and at_ns == key_ns and np.array_equal(known, drives):
                return powered
        powered = self._fed(network, drives[None], np.array([now_ns]))
        # Two: what chips that reset have latched, and what they show then.
        self._solved = [(network, key_ns, drives, powered), *self._solved[:1]]
        return powered

    def _fed(self, network: Network, drives: Bytes, times_ns: Times) -> Powered:
        """Power of frames (T, N, C), shown from times_ns (T,) on, with the supplies as they are."""
        before = self._near[1] if self._near is not None and self._near[0] is network else None
        until_ns = self._off_until_ns
        powered = run_supplies(network, drives, self._chip, times_ns, until_ns, before)
        if len(drives) == 1:
            self._near = network, powered.rails
        return powered


def _frames(rails: Rails, count: int) -> Rails:
    return Rails(*(getattr(rails, name)[:count] for name in Rails.__dataclass_fields__))


def _joined(pieces: list[Rails]) -> Rails:
    names = Rails.__dataclass_fields__
    return Rails(*(np.concatenate([getattr(p, name) for p in pieces]) for name in names))
