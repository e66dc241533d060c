"""Voltages of a network under load, for a stack of frames at once.

The unknowns are the voltages V of the pairs at all nodes, with F(V) = L V + I(V) = 0. I(V) is what
the LEDs take (emulator.power.load) minus what each supply feeds in at its terminal. Both terms grow
with V, so F is the gradient of a convex energy with one lowest point: the solution. Newton's step
always points downhill there. A line search keeps each step from going far past the lowest point
along it, so that no drive and no overload makes it diverge. Each frame has its own residual, and
`converged` says whether that is under the tolerance.

A supply holds its volts, less the drop over its own resistance, up to its most amperes. Above that
it gives its most amperes at a lower voltage. It takes no current back.

A wire of nanoohms carries amperes at nanovolts, which one float cannot resolve next to volts. So
the currents of the wires are not taken from V, but added up from those of the steps.

Where + and ground differ, by faults of a built wall, the same method solves both conductors
(emulator.power.conductors).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from emulator.arrays import Bytes, Floats
from emulator.description.chips import Chip
from emulator.power.conductors import Conductors, graphs_of
from emulator.power.elimination import Factors
from emulator.power.load import Loads, duty, headroom
from emulator.power.network import SLOPE_FLOOR_S, Network
from emulator.power.supplied import Law

# The largest error of the currents, summed over all nodes: in amperes, and as a share of the
# current of all LEDs. Energy then balances to about that share.
TOLERANCE_A = 1e-8
TOLERANCE_SHARE = 1e-7

MOST_STEPS = 80

# Frames are solved in blocks that fit a cache, but not so few that numpy's calls dominate.
_BLOCK = 1 << 16  # nodes × frames
_LEAST_FRAMES = 16
_NEARLY = 1e-3  # of the error before
_OVERSHOOT = 0.1  # take the whole step if the slope at its end is below this share
_SEARCH_STEPS = 40


@dataclass(frozen=True, eq=False)
class Rails:
    """Voltages and currents. T frames, N LEDs, S supplies, M nodes, L light-giving channels.

    node_volts: (T, M) across the pair at each node: LEDs, supplies, bus taps. led_current_a:
    (T, N). delivered: (T, N, L) relative light 0…1: duty × share of the nominal current.
    supply_current_a: (T, S). residual_a: (T,) error of the currents, summed over all nodes.
    steps: (T,) Newton steps taken. ground_volts: (T, M) the ground conductor at each node above the
    supplies' ground; (T, 0) if + and ground are alike everywhere.
    """

    node_volts: Floats
    led_current_a: Floats
    delivered: Floats
    supply_current_a: Floats
    residual_a: Floats
    steps: NDArray[np.int64]
    ground_volts: Floats

    @property
    def led_volts(self) -> Floats:
        """Voltage (T, N) between + and ground of each LED."""
        return self.node_volts[:, : self.led_current_a.shape[1]]

    @property
    def supply_volts(self) -> Floats:
        """Voltage (T, S) at the terminals of each supply."""
        leds, supplies = self.led_current_a.shape[1], self.supply_current_a.shape[1]
        return self.node_volts[:, leds : leds + supplies]

    @property
    def converged(self) -> NDArray[np.bool_]:
        """bool (T,): whether each frame was solved to the tolerance."""
        return self.residual_a <= _tolerance_a(self.led_current_a.sum(axis=1))

    @property
    def total_current_a(self) -> Floats:
        """Current (T,) of all supplies."""
        return np.asarray(self.supply_current_a.sum(axis=1))


def solve_rails(
    network: Network,
    drives: Bytes,
    chip: Chip,
    most_a: ArrayLike | None = None,
    before: Rails | None = None,
) -> Rails:
    """The voltages and currents for drives, uint8 (T, N, C), each frame in its steady state.

    most_a: the most that each supply gives, broadcast to (T, S), in amperes; default: its rated
    amps. np.inf is without limit, 0 is switched off. before: rails of a network of this shape, such
    as those of the picture before: the nearer their last frame is, the sooner a solution is found.
    It is the same within the tolerance.
    """
    most_a = network.supply_amps if most_a is None else most_a
    return _solve([network], drives, chip, most_a, before)


def solve_each(
    networks: Sequence[Network], drives: Bytes, chip: Chip, most_a: ArrayLike | None = None
) -> Rails:
    """As `solve_rails`, each of the T frames on a network of its own; all are of one shape.

    They may differ in ohms and supplies: walls of one display, each with its faults.
    """
    if most_a is None:
        most_a = np.stack([network.supply_amps for network in networks])
    return _solve(networks, drives, chip, most_a)


def _solve(
    networks: Sequence[Network],
    drives: Bytes,
    chip: Chip,
    most_a: ArrayLike,
    before: Rails | None = None,
) -> Rails:
    """Of T networks, or of one for all frames."""
    network, frames = networks[0], len(drives)
    cap = np.broadcast_to(np.asarray(most_a, dtype=np.float64), (frames, network.supplies))
    volts = np.empty((frames, network.nodes))
    alike = len(networks) == 1 and network.ground_ohm is None
    graphs = None if alike else graphs_of(network)
    ground = np.empty((frames, 0 if graphs is None else network.nodes))
    residual, steps = np.empty(frames), np.empty(frames, dtype=np.int64)
    current = np.empty((frames, network.leds))
    fed = np.empty((frames, network.supplies))
    size = max(_LEAST_FRAMES, _BLOCK // network.nodes)
    for begin in range(0, frames, size):
        part = slice(begin, begin + size)
        loads = Loads.of(drives[part], chip)
        some = networks if len(networks) == 1 else networks[part]
        law = Law.of(some, cap[part].T)
        problem: _Problem = (
            _Pairs(network, loads, law)
            if graphs is None
            else Conductors.of(graphs, loads, some, law)
        )
        v, taken, residual[part], steps[part] = _newton(problem, problem.start(before))
        volts[part], ground[part] = problem.pairs(v).T, problem.ground(v).T
        current[part] = taken[: network.leds].T
        fed[part] = -taken[network.terminals].T
    delivered = headroom(volts[:, : network.leds], chip)
    delivered *= duty(drives, chip)
    return Rails(volts, current, delivered, fed, residual, steps, ground)


def _tolerance_a(total_a: Floats) -> Floats:
    return TOLERANCE_A + TOLERANCE_SHARE * total_a


class _Problem(Protocol):
    """What Newton's method asks of a network with its loads: `_Pairs`, or `Conductors`."""

    @property
    def law(self) -> Law: ...
    def frames(self, which: NDArray[np.intp]) -> _Problem: ...
    def start(self, before: Rails | None) -> Floats: ...
    def lines(self, volts: Floats) -> Floats: ...
    def elements(self, volts: Floats) -> Floats: ...
    def factors(self, volts: Floats) -> Factors: ...
    def taken_a(self, elements: Floats) -> Floats: ...
    def pairs(self, volts: Floats) -> Floats: ...
    def ground(self, volts: Floats) -> Floats: ...


@dataclass(frozen=True, eq=False)
class _Pairs:
    """F and its slope for a block of frames of one network."""

    network: Network
    loads: Loads
    law: Law

    def frames(self, which: NDArray[np.intp]) -> _Pairs:
        return _Pairs(self.network, self.loads.frames(which), self.law.frames(which))

    def start(self, before: Rails | None) -> Floats:
        """Voltages (M, T) to start from: those before, or no drop anywhere."""
        supply_v, frames = self.network.supply_volts, self.law.cap.shape[1]
        if before is not None:
            return np.repeat(before.node_volts[-1:].T, frames, axis=1)
        volts = np.full((self.network.nodes, frames), float(supply_v.max()))
        volts[self.network.terminals] = supply_v[:, None]
        return volts

    def lines(self, volts: Floats) -> Floats:
        """L V: current (M, T) that the wires take from each node."""
        return self.network.outflow_a(volts)

    def elements(self, volts: Floats) -> Floats:
        """I(V) (M, T): the current that LEDs take, minus what supplies feed in."""
        leds, terminals = self.network.leds, self.network.terminals
        out = np.zeros_like(volts)
        out[:leds] = self.loads.current_a(volts[:leds])
        out[terminals] = -self.law.supplied(volts[terminals])[0]
        return out

    def slopes(self, volts: Floats) -> Floats:
        """I′(V) (M, T), at least the floor at the LEDs."""
        leds, terminals = self.network.leds, self.network.terminals
        out = np.zeros_like(volts)
        out[:leds] = np.maximum(self.loads.slope_s(volts[:leds]), SLOPE_FLOOR_S)
        out[terminals] = self.law.supplied(volts[terminals])[1] + SLOPE_FLOOR_S
        return out

    def factors(self, volts: Floats) -> Factors:
        """F′, with which Newton's step is solved."""
        network, slopes = self.network, self.slopes(volts)
        # Most frames of most walls: no channel lacks volts, so all have the same slopes.
        if (slopes == network.idle_s).all():
            return network.idle
        return network.elimination.factors(network.pair_s, slopes)

    def taken_a(self, elements: Floats) -> Floats:
        """Current (T,) of all LEDs, of what `elements` gives."""
        return np.asarray(elements[: self.network.leds].sum(axis=0))

    def pairs(self, volts: Floats) -> Floats:
        """Voltages (M, T): themselves."""
        return volts

    def ground(self, volts: Floats) -> Floats:
        """(0, T): + and ground are alike."""
        return volts[:0]


def _newton(problem: _Problem, start: Floats) -> tuple[Floats, Floats, Floats, NDArray[np.int64]]:
    """From voltages (M, T): the solution and what elements take there (M, T), residuals (T,) and
    steps taken (T,)."""
    frames = start.shape[1]
    volts, taken = np.empty_like(start), np.empty_like(start)
    residual, steps = np.empty(frames), np.empty(frames, dtype=np.int64)
    open_, rest, v = np.arange(frames), problem, start
    highest = float(problem.law.volts.max())
    lines, elements = rest.lines(v), rest.elements(v)
    factors, before = None, np.full(frames, np.inf)
    for step in range(MOST_STEPS + 1):
        unbalanced = lines + elements
        error = np.abs(unbalanced).sum(axis=0)
        still = error > _tolerance_a(rest.taken_a(elements))
        if step == MOST_STEPS:
            still[:] = False
        if not still.any() and len(open_) == frames:
            return v, elements, error, np.full(frames, step)
        if not still.all():
            done, closed = open_[~still], np.flatnonzero(~still)
            volts[:, done], taken[:, done] = v[:, closed], elements[:, closed]
            residual[done], steps[done] = error[closed], step
            which = np.flatnonzero(still)
            if not which.size:
                break
            open_, rest, v = open_[which], rest.frames(which), v[:, which]
            lines, unbalanced = lines[:, which], unbalanced[:, which]
            error, factors = error[which], None
        # After a step that solved nearly all, the slopes are nearly the same, too.
        if factors is None or (error > _NEARLY * before).any():
            factors = rest.factors(v)
        before = error
        move = factors.solve(-unbalanced)
        move *= highest / np.maximum(np.abs(move).max(axis=0), highest)
        end = _end_of(rest, v, lines, move, _dots(unbalanced, move))
        # The lines are linear: added up like this, their currents do not lose what V rounds off.
        v, lines, elements = v + end.share * move, end.lines, end.elements
    return volts, taken, residual, steps


def _dots(a: Floats, b: Floats) -> Floats:
    """Sums (T,) of the products of (M, T) and (M, T)."""
    return np.asarray(np.einsum("mt,mt->t", a, b))


class _End(NamedTuple):
    """Where a move ends: after a share (T,) of it. lines, elements: (M, T), the currents there."""

    share: Floats
    lines: Floats
    elements: Floats


def _end_of(problem: _Problem, v: Floats, lines: Floats, move: Floats, slope: Floats) -> _End:
    """The end of each frame's `move`: all of it, or up to the lowest point along it.

    slope: (T,) of the energy at the start, negative. The slope grows along the move, so its zero
    is between the two ends; false position (Illinois) finds it.
    """
    along = problem.lines(move)
    end = _End(np.ones(v.shape[1]), lines + along, problem.elements(v + move))
    beyond = _dots(end.lines + end.elements, move)
    search = np.flatnonzero(beyond > _OVERSHOOT * np.abs(slope))
    if not search.size:
        return end
    some = problem.frames(search)
    v, lines, along, move = (of[:, search] for of in (v, lines, along, move))
    low, high = np.zeros(search.size), np.ones(search.size)
    at_low, at_high = slope[search], beyond[search]
    for _ in range(_SEARCH_STEPS):
        share = low + (high - low) * at_low / (at_low - at_high)
        lines_there, elements = lines + share * along, some.elements(v + share * move)
        here = _dots(lines_there + elements, move)
        if (np.abs(here) <= _OVERSHOOT * np.abs(slope[search])).all():
            break
        above = here > 0
        # Illinois: halve the slope at the end that stays, so that it cannot stay for ever.
        at_high = np.where(above, here, at_high / 2)
        at_low = np.where(above, at_low / 2, here)
        high, low = np.where(above, share, high), np.where(above, low, share)
    end.share[search], end.lines[:, search], end.elements[:, search] = share, lines_there, elements
    return end
