"""The wall as built: the facts that each stage is given. As planned, until faults change them.

A position is the number of an LED as planned, 0…N-1 over all lines. What is known of an LED stays
with its position, wherever a chain has it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, Self

import numpy as np

from emulator.arrays import Bools, Floats, Ints
from emulator.description.chips import Chip, Clocked
from emulator.description.display import Display
from emulator.description.faults.fault import STAGES, Fault
from emulator.description.power import PowerSection

EXTRA = -1  # in a chain: an LED that the plan lacks


@dataclass(frozen=True)
class DataWire:
    """The way of the data from an output of the controller to the first LED.

    high_v: level of the output. threshold: share of its own supply above which the chip sees a high
    level. noise_v: added to it, rms. tau_ns: resistance times capacitance. stretch: length of all
    pulses beside the nominal. far_ground: the controller's ground is joined at the supply, not at
    the first LED. shared_ohm: of its ground wire through which the current of the LEDs flows, too.
    floats: the controller's ground is not joined. pause_ns: a pause within each frame.
    low_ns: how long the line is low after a frame; None: until the next. clocks_missed:
    share of the clock pulses that chips with a clock line miss.
    """

    high_v: float
    threshold: float = 0.7
    noise_v: float = 0.0
    tau_ns: float = 0.0
    stretch: float = 1.0
    far_ground: bool = False
    shared_ohm: float = 0.0
    floats: bool = False
    clocks_missed: float = 0.0
    pause_ns: int = 0
    low_ns: int | None = None

    @property
    def disturbs(self) -> bool:
        """Whether the bits may arrive other than sent."""
        return self != DataWire(self.high_v)


@dataclass(frozen=True)
class PowerJoint:
    """Ohms more in one conductor, or in both: of the rail or jumper behind an LED, of a feed, or
    of the bus up to a feed.

    number: the position of the LED, or the number of the feed.
    """

    conductor: Literal["plus", "ground", "both"]
    at: Literal["rail", "feed", "bus"]
    number: int
    ohm: float


@dataclass(frozen=True, eq=False)
class Patch:
    """Cells (rows, columns) a share of whose light takes another way to the eye.

    bare: no front is before the LED. off_mm: how far right and down of the middle the LED sits.
    """

    cells: Bools
    share: float = 1.0
    bare: bool = False
    off_mm: tuple[float, float] = (0.0, 0.0)


@dataclass
class Built:
    """What faults may change. N LEDs as planned, C channels in the order of a drives array.

    chains: of each output, the positions of its LEDs in the order of the data.
    hears, passes: (N,) whether data gets into an LED, and out of it to the next.
    size: (N,) bytes that its chip keeps. pick: (N, C) which of these bytes each channel shows, -1
    for none. also: (N,) the byte of a white channel that the plan lacks, -1 for none.
    joined: (N,) LEDs whose input is joined to that of the LED before: both take the same bytes.
    clears, sets: (N,) whether its chip reads every bit as 0, or as 1, whatever comes.
    zero_ns, one_ns: (N,) how long the pulse of a 0 and of a 1 is high that its chip passes on.
    least_ns: (N,) from which high time on it reads a 1. All are 0 with a clock line.
    off, on: (N, C) channels that stay dark, or lit. glow: (N, L) light of each light-giving
    channel for the same drive, 1 as planned.
    data: the data wire of each output.
    power: the supplies, feeds and buses, each key filled in. joints: of power that are not whole.
    least_v: volts below which a chip loses its data and passes none on; None: the chips are taken
    to work at any voltage.
    clear: (rows, columns) share of the light that a dirty front lets pass. patches: cells with
    another cover.
    """

    display: Display
    chains: list[Ints]
    hears: Bools
    passes: Bools
    size: Ints
    pick: Ints
    also: Ints
    joined: Bools
    clears: Bools
    sets: Bools
    zero_ns: Ints
    one_ns: Ints
    least_ns: Ints
    off: Bools
    on: Bools
    glow: Floats
    data: list[DataWire]
    power: PowerSection
    joints: list[PowerJoint]
    clear: Floats
    patches: list[Patch]
    least_v: float | None = None

    @classmethod
    def as_planned(cls, display: Display) -> Self:
        """The facts without any fault."""
        wiring, chip = display.wiring, display.chip
        leds, channels = len(wiring), len(chip.channels)
        ends = (*wiring.line_starts[1:], leds)
        zero_ns, one_ns, least_ns = high_times_ns(chip)
        return cls(
            display,
            [np.arange(a, b) for a, b in zip(wiring.line_starts, ends, strict=True)],
            np.ones(leds, dtype=np.bool_),
            np.ones(leds, dtype=np.bool_),
            np.full(leds, chip.bytes_per_led),
            np.tile(chip.from_wire.astype(np.int64), (leds, 1)),
            np.full(leds, -1),
            np.zeros(leds, dtype=np.bool_),
            np.zeros(leds, dtype=np.bool_),
            np.zeros(leds, dtype=np.bool_),
            np.full(leds, zero_ns),
            np.full(leds, one_ns),
            np.full(leds, least_ns),
            np.zeros((leds, channels), dtype=np.bool_),
            np.zeros((leds, channels), dtype=np.bool_),
            np.ones((leds, len(chip.channels.replace("I", "")))),
            [DataWire(display.controller.logic_volts) for _ in wiring.line_lengths],
            display.whole_power,
            [],
            np.ones(display.picture_shape[:2]),
            [],
        )

    def position(self, line: int, led: int) -> int:
        """The position of an LED of a line as planned."""
        return self.display.wiring.line_starts[line] + led

    def of_run(self, run: int) -> Ints:
        """The positions of the LEDs of a run, in the order of the data as planned."""
        return np.flatnonzero(self.display.wiring.run == run)

    def found(self, position: int) -> tuple[int, int] | None:
        """Output and place in its chain of an LED; None where another fault took it out."""
        for output, chain in enumerate(self.chains):
            at = np.flatnonzero(chain == position)
            if at.size:
                return output, int(at[0])
        return None

    def replace(self, old: Ints, new: Ints) -> None:
        """Put LEDs `new` where a chain has LEDs `old`; other LEDs between them stay."""
        for output, chain in enumerate(self.chains):
            at = np.flatnonzero(np.isin(chain, old))
            if at.size == new.size:
                self.chains[output] = chain = chain.copy()
                chain[at] = new
            elif at.size:
                self.chains[output] = np.insert(np.delete(chain, at), at[0], new)


def high_times_ns(chip: Chip) -> tuple[int, int, int]:
    """How long a chip's 0 and 1 are high, and from when on it reads a 1; 0 with a clock line."""
    wire = chip.wire
    if isinstance(wire, Clocked):
        return 0, 0, 0
    return wire.t0h.nominal, wire.t1h.nominal, wire.threshold_ns


def as_built(display: Display, faults: Iterable[Fault]) -> Built:
    """The wall with faults, which have been judged: those of the wiring act first, then strips."""
    built = Built.as_planned(display)
    for fault in sorted(faults, key=lambda one: STAGES.index(one.stage)):
        fault.act(built)
    return built
