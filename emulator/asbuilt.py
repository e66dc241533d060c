"""The wall with its faults over time: what the stages are given at a moment.

A fault that comes and goes is there in spells: their lengths, and those of the times between, are
exponential, so that the fault is there for its share of the time on average. The same seed gives
the same spells.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bytes, Floats, Ints
from emulator.chain import Chain, chain_of, full_drives, fully_lit, places
from emulator.clock import SECOND_NS
from emulator.description.display import Display
from emulator.description.faults.built import Built, as_built
from emulator.description.faults.fault import Fault, Sometimes
from emulator.power.joints import with_joints
from emulator.power.network import Network, build_network
from emulator.power.solve import Rails
from emulator.signal.disturbed import disturbed
from emulator.strip import Arrival, Strip

Volts = Callable[[Bytes], Floats]

_AT_ONCE = 256  # spells drawn at a time


@dataclass(frozen=True, eq=False)
class Moment:
    """The wall while its faults stay as they are. chains: of each output. places: (N,) of the LEDs
    among the chips of all chains, -1 for none."""

    built: Built
    chains: tuple[Chain, ...]
    places: Ints

    @cached_property
    def network(self) -> Network:
        """The wires and supplies as built."""
        return with_joints(build_network(self.built.display, self.built.power), self.built.joints)

    @property
    def glow(self) -> NDArray[np.float32]:
        """(N, L) light of each light-giving channel for the same drive, 1 as planned."""
        return self.built.glow.astype(np.float32)

    def shown(self, chips: Bytes, volts: Volts) -> Bytes:
        """What the LEDs (N, C) show, from what the chips (M, C) of all chains have latched.

        volts: gives the volts (N,) that the LEDs get if they show drives (N, C). Chips that get too
        few for what they latched reset, all at once.
        """
        latched = self.latched(chips)
        if self.built.least_v is None:
            return latched
        reset = volts(latched) < self.built.least_v
        return np.where(reset[:, None], np.uint8(0), latched)

    def before_data(self, strips: Sequence[Strip], volts: Volts) -> Moment:
        """The wall as data find it: chips that reset have forgotten theirs, what is down is out.

        A chip without supply takes no data and passes none on.
        """
        if self.built.least_v is None:
            return self
        latched = self.latched(np.concatenate([strip.latched for strip in strips]))
        reset = volts(latched) < self.built.least_v
        lost = np.zeros(sum(strip.leds for strip in strips), dtype=np.bool_)
        lost[self.places[reset & (self.places >= 0)]] = True
        ends = np.cumsum([strip.leds for strip in strips])[:-1]
        for strip, which in zip(strips, np.split(lost, ends), strict=True):
            strip.lose(which)
        down = volts(np.where(reset[:, None], np.uint8(0), latched)) < self.built.least_v
        if not down.any():
            return self
        works = ~down
        built = replace(
            self.built, hears=self.built.hears & works, passes=self.built.passes & works
        )
        return Moment.of(built)

    def latched(self, chips: Bytes) -> Bytes:
        """What the LEDs (N, C) have latched, from the chips (M, C) of all chains."""
        dark = np.zeros((1, chips.shape[1]), dtype=np.uint8)  # of an LED in no chain
        shown = np.concatenate([chips, dark])[self.places]
        shown[self.built.off] = 0
        return fully_lit(shown, self.built.on, full_drives(self.built.display.chip))

    @classmethod
    def of(cls, built: Built) -> Moment:
        """The tables of a wall."""
        chains = tuple(chain_of(built, output) for output in range(len(built.chains)))
        return cls(built, chains, places(built))

    def receive(
        self, output: int, strip: Strip, data: Bytes, starts_ns: int, rails: Callable[[], Rails]
    ) -> Arrival:
        """Let a strip take the bytes of an output, as its data wire lets them through.

        rails: what the LEDs get at that moment; asked only where it matters.
        """
        strip.chain, way = self.chains[output], self.built.data[output]
        strip.low_ns = way.low_ns
        if not way.disturbs or not data.size:
            return strip.receive(data, starts_ns)
        rail_v, lift_v = self._at_first_led(output, rails())
        rng = np.random.default_rng([starts_ns, output])
        for piece in disturbed(data, strip.chip.wire, way, rail_v, lift_v, rng):
            starts_ns += piece.pause_ns
            ends_ns = starts_ns + round(int(strip.wire_ns_each(piece.sent)) * way.stretch)
            arrival = strip.receive(piece.read, starts_ns, ends_ns)
            starts_ns = ends_ns
        return arrival

    def _at_first_led(self, output: int, rails: Rails) -> tuple[float, float]:
        """Volts between + and ground of an output's first LED, and those of its ground above the
        controller's."""
        planned = self.built.chains[output][self.built.chains[output] >= 0]
        supply_v = float(rails.supply_volts[0].max())
        rail_v = float(rails.led_volts[0, planned[0]]) if planned.size else supply_v
        # Half of what wires and rails drop is dropped in the ground.
        way = self.built.data[output]
        lift_v = max(supply_v - rail_v, 0.0) / 2 if way.far_ground else 0.0
        if way.far_ground and planned.size and rails.ground_volts.size:
            lift_v = float(rails.ground_volts[0, planned[0]])
        return rail_v, lift_v + way.shared_ohm * float(rails.total_current_a[0])


class AsBuilt:
    """A display with its faults, at least one."""

    def __init__(self, display: Display, faults: Sequence[Fault]) -> None:
        self._display = display
        self._always = [fault for fault in faults if not fault.comes_and_goes]
        self._sometimes = [
            (fault, Spells(fault))
            for fault in faults
            if isinstance(fault, Sometimes) and fault.comes_and_goes
        ]
        self._moments: dict[tuple[bool, ...], Moment] = {}

    @property
    def needs_power(self) -> bool:
        """Whether a fault is of the power, so that the voltages matter."""
        return any(f.stage == "power" for f in (*self._always, *(f for f, _ in self._sometimes)))

    def at(self, time_ns: int) -> Moment:
        """The wall at a time. Times before 0 are as 0."""
        there = tuple(spells.there(time_ns) for _, spells in self._sometimes)
        if there not in self._moments:
            now = [fault for (fault, _), is_ in zip(self._sometimes, there, strict=True) if is_]
            self._moments[there] = Moment.of(as_built(self._display, [*self._always, *now]))
        return self._moments[there]


class Spells:
    """When a fault that comes and goes is there. It remembers the last few hundred spells."""

    def __init__(self, fault: Sometimes) -> None:
        self._fault = fault
        self._from_ns: int  # from when on `_changes` are all there are
        self._changes: Ints  # times; the state turns at each
        self._restart()

    def there(self, time_ns: int) -> bool:
        """Whether the fault is there at a time from 0 on.

        A time long before the last one asked is slow: all is drawn again from the beginning.
        """
        if time_ns < self._from_ns:
            self._restart()
        while self._changes[-1] <= time_ns:
            lengths = np.maximum(self._rng.exponential(self._mean_ns), 1).astype(np.int64)
            coming = self._changes[-1] + np.cumsum(lengths)
            # The older half goes: an even number, so that the state at its end is the first one.
            self._from_ns = (
                int(self._changes[-_AT_ONCE - 1]) if self._changes.size > _AT_ONCE else 0
            )
            self._changes = np.concatenate([self._changes[-_AT_ONCE:], coming])
        turned = int(np.searchsorted(self._changes, time_ns, side="right")) % 2
        return self._first != bool(turned)

    def _restart(self) -> None:
        fault = self._fault
        self._rng = np.random.default_rng(fault.seed)
        self._first = bool(self._rng.random() < fault.share)
        there_ns = fault.spell_s * SECOND_NS
        away_ns = there_ns * (1 - fault.share) / fault.share
        both_ns = [there_ns, away_ns] if self._first else [away_ns, there_ns]
        self._mean_ns = np.tile(both_ns, _AT_ONCE // 2)
        self._from_ns = 0
        lengths = np.maximum(self._rng.exponential(self._mean_ns), 1).astype(np.int64)
        self._changes = np.cumsum(lengths)
