"""The timing of a one-wire chip in whole cycles of a controller."""

from __future__ import annotations

from itertools import product
from typing import NamedTuple

from emulator.description.chips import Chip, OneWire, Span
from emulator.ports.firmware.controller import FirmwareError

# The least cycles of the loop of onewire.S: to the fall of a 0, from there to the fall of a 1, and
# from there to the next rise.
LEAST = (5, 6, 5)
_MARGIN = (
    0.01  # of a time: tolerance of a resonator. A crystal has 0.0001; common practice, no source
)


class Cycles(NamedTuple):
    """Cycles from the rise of a bit to the fall of a 0, to that of a 1, and to the next rise."""

    high_0: int
    high_1: int
    bit: int


def one_wire_cycles(chip: Chip, hz: int) -> Cycles:
    """The cycles that are furthest inside all four tolerances of a one-wire chip.

    Raises FirmwareError if a clock has none, with a margin of 1 % for the clock itself.
    """
    wire = chip.wire
    assert isinstance(wire, OneWire)
    most = _most(wire.t1h.most + wire.t1l.most, hz)
    best: tuple[float, int, Cycles] | None = None
    for high_0, high_1 in product(
        range(LEAST[0], _most(wire.t0h.most, hz) + 1), range(_most(wire.t1h.most, hz) + 1)
    ):
        if high_1 - high_0 < LEAST[1]:
            continue
        for bit in range(high_1 + LEAST[2], most + 1):
            depth = min(
                _depth(wire.t0h, high_0, hz),
                _depth(wire.t0l, bit - high_0, hz),
                _depth(wire.t1h, high_1, hz),
                _depth(wire.t1l, bit - high_1, hz),
            )
            if depth > 0 and (best is None or (depth, -bit) > best[:2]):
                best = depth, -bit, Cycles(high_0, high_1, bit)
    if best is None:
        raise FirmwareError(
            f"no whole cycles of {hz / 1e6:g} MHz are within the tolerances of {chip.part} with 1 %"
            f" to spare; the firmware makes a 0 high for {LEAST[0]} cycles at least, a 1 for"
            f" {LEAST[0] + LEAST[1]}",
            fix="use another clock, or check the times under [chip] in the display file.",
        )
    return best[2]


def _most(ns: int, hz: int) -> int:
    return min(ns, 10_000) * hz // 1_000_000_000  # no bit takes longer than 10 µs


def _depth(span: Span, cycles: int, hz: int) -> float:
    """How far a time is inside a tolerance: 1 at the nominal value, 0 at a limit, else below 0."""
    ns = cycles * 1e9 / hz
    if ns < span.nominal:
        return _share(ns * (1 - _MARGIN) - span.least, span.nominal - span.least)
    return _share(span.most - ns * (1 + _MARGIN), span.most - span.nominal)


def _share(part: float, whole: float) -> float:
    return part / whole if whole else float(part >= 0)
