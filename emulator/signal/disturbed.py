"""The bits that the first chip of a line reads, with the levels and noise on its data wire.

A chip sees a pulse that rises above its threshold, a share of the supply of its logic. With noise
of standard deviation s and a margin m above the threshold, it misses the pulse with probability
Q(m / s), where Q is the tail of the normal distribution. In the same way a low with a margin below
the threshold looks like a short pulse, a 0. A missed or additional pulse moves all bits after it by
one.

On a wire with resistance and capacitance, time constant τ, a pulse of length T rises to
1 − e^(−T/τ) of its level, and both its edges move: the chip sees it for T − t₁ + t₂, where t₁ and
t₂ are the times to cross the threshold up and down.

Not modelled: reflections, hysteresis, many missed pulses in a row that look like a reset.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bytes
from emulator.description.chips import Clocked, OneWire
from emulator.description.faults.built import DataWire

# Chips for more than 5 V are assumed to run their logic from 5 V inside (no source).
LOGIC_VOLTS, _MOST_UNREGULATED_V = 5.0, 6.0

STUCK = 0.5  # chance of a false pulse from which a line carries no data any more


class Piece(NamedTuple):
    """Bytes in a row on the line: the pause before them in ns, what is sent, what is read."""

    pause_ns: int
    sent: Bytes
    read: Bytes


@dataclass(frozen=True)
class Pulse:
    """How a chip reads the pulse of a bit: as a 1 or a 0, and the probability to miss it."""

    one: bool
    missed: float


def disturbed(
    data: Bytes,
    wire: OneWire | Clocked,
    way: DataWire,
    rail_v: float,
    lift_v: float,
    rng: np.random.Generator,
) -> list[Piece]:
    """The bytes that the first chip reads, in one piece or, with a pause, in two.

    data: uint8 (B,). rail_v: volts between + and ground of the first LED. lift_v: its ground above
    that of the controller. Bits that do not fill a byte are left out: no LED gets all its bits.
    A pause makes data late and nothing else if no rest latches the chip.
    """
    rests = not isinstance(wire, Clocked) or wire.latch == "rest"
    cut = int(rng.integers(1, data.size)) if way.pause_ns and rests and data.size > 1 else 0
    if way.floats:
        lift_v += float(rng.uniform(-way.high_v, way.high_v))
    pieces = [(0, data[:cut]), (way.pause_ns, data[cut:])]
    return [
        Piece(pause_ns, sent, _read(sent, wire, way, rail_v, lift_v, rng))
        for pause_ns, sent in pieces
        if sent.size
    ]


def pulse(bit: bool, wire: OneWire | Clocked, way: DataWire, rail_v: float, lift_v: float) -> Pulse:
    """How the chip reads one bit."""
    least_v = way.threshold * _logic_v(rail_v) + lift_v  # as the controller measures it
    if isinstance(wire, Clocked):
        seen = (1 - _tail(way.high_v - least_v, way.noise_v)) * (1 - way.clocks_missed)
        return Pulse(bit, 1 - seen)
    high_ns = (wire.t1h if bit else wire.t0h).nominal * way.stretch
    peak_v, seen_ns = way.high_v, high_ns
    if way.tau_ns:
        peak_v = way.high_v * -math.expm1(-high_ns / way.tau_ns)
        if peak_v > least_v > 0:
            up_ns = -way.tau_ns * math.log1p(-least_v / way.high_v)
            seen_ns += way.tau_ns * math.log(peak_v / least_v) - up_ns
    return Pulse(seen_ns >= wire.threshold_ns, _tail(peak_v - least_v, way.noise_v))


def chance_of_false(way: DataWire, rail_v: float, lift_v: float) -> float:
    """The chance that a low with noise looks like a pulse; from STUCK on no data gets through."""
    return _tail(way.threshold * _logic_v(rail_v) + lift_v, way.noise_v)


def _logic_v(rail_v: float) -> float:
    """The supply of a chip's logic."""
    return rail_v if rail_v <= _MOST_UNREGULATED_V else LOGIC_VOLTS


def _read(
    data: Bytes,
    wire: OneWire | Clocked,
    way: DataWire,
    rail_v: float,
    lift_v: float,
    rng: np.random.Generator,
) -> Bytes:
    zero, one = (pulse(bit, wire, way, rail_v, lift_v) for bit in (False, True))
    false = chance_of_false(way, rail_v, lift_v)
    if false >= STUCK:
        return data[:0]
    bits = np.unpackbits(data).astype(np.bool_)
    missed = np.where(bits, one.missed, zero.missed)
    values = np.where(bits, one.one, zero.one)
    if isinstance(wire, Clocked):  # the clock says where bits are; a weak 1 reads as 0
        values &= rng.random(bits.size) >= missed
        bits_seen: NDArray[np.bool_] = values[rng.random(bits.size) >= missed]
    else:
        seen = np.stack([rng.random(bits.size) < false, rng.random(bits.size) >= missed], axis=1)
        bits_seen = np.stack([np.zeros_like(values), values], axis=1)[seen]
    return np.packbits(bits_seen[: bits_seen.size // 8 * 8])


def _tail(margin_v: float, noise_v: float) -> float:
    """Q(margin / noise): the probability that noise is larger than the margin."""
    if not noise_v:
        return 0.0 if margin_v >= 0 else 1.0
    return math.erfc(margin_v / noise_v / math.sqrt(2)) / 2
