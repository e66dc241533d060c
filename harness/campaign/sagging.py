"""Walls whose volts matter, many at once: each is what a powered bench shows of it.

As on a bench (`emulator.asbuilt.Moment`): chips that get too few volts for what they latched reset,
all at once; before the next frame those that are still down pass no data on. A supply that trips is
off until it tries again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bools, Bytes, Floats
from emulator.bench import Bench
from emulator.chain import Chain, by_led, full_drives, fully_lit, stacked
from emulator.description.display import Display
from emulator.power.least import Least, Lines, enough_v, nominal_a
from emulator.power.load import duty, headroom
from emulator.power.network import build_network
from emulator.power.solve import solve_each, solve_rails
from harness.campaign.settled import Settled
from harness.campaign.watch import FLICKERS, OBSERVERS, Shown, Watch, data_of, sent_drives
from harness.patterns.pattern import Pattern

_LEAST_CHANGE = 0.005  # of an LED's full light, from which a fault is taken to change something


@dataclass(frozen=True, eq=False)
class Powered:
    """What F walls show of one picture: drives (F, N, C), and light (F, N, L) of each channel."""

    drives: Bytes
    light: NDArray[np.float32]


class Walls:
    """F walls with faults of the power, from power-on."""

    def __init__(self, display: Display, walls: Sequence[Settled]) -> None:
        self._display, self._chip = display, display.chip
        self._built = [wall.built for wall in walls]
        self._networks = [wall.network for wall in walls if wall.network is not None]
        assert len(self._networks) == len(walls)
        self._lines = Lines(self._networks)
        self._least_v = np.array([one.least_v or 0.0 for one in self._built])[:, None]
        self._amps = np.stack([network.supply_amps for network in self._networks])
        power = [network.power.supply for network in self._networks]
        self._trips = np.array([[s.overload == "trip" for s in one] for one in power])
        self._retry_ns = np.array([[round(s.retry_s * 1e9) for s in one] for one in power])
        self._off_until_ns = np.full(self._amps.shape, np.iinfo(np.int64).min)
        self._out: Bools | None = None  # the LEDs without supply, for which these tables are:
        self._tables: dict[int, Chain] = {}
        self._stack: Chain
        self._down = np.stack([wall.down for wall in walls])  # never anything else
        self._on = np.stack([one.on for one in self._built])
        self._off = np.stack([one.off for one in self._built])
        self._glow = np.stack([one.glow for one in self._built]).astype(np.float32)
        shape = (len(walls), display.leds, len(self._chip.channels))
        self._held: Bytes = np.zeros(shape, dtype=np.uint8)
        self._calm = np.zeros(len(walls), dtype=np.bool_)
        self._as_sent = np.array(
            [all(f.stage not in ("wiring", "strip") for f in wall.faults) for wall in walls]
        )
        self._last: tuple[Bools, Bytes, Floats] | None = None

    def calm(self, taken_a: Floats) -> Bools:
        """(F,) the walls whose LEDs have enough volts while they take at most these currents (N,).

        A fault of wiring or strip gives LEDs other data than is sent, so of such a wall nobody
        knows the currents.
        """
        least = self._lines.least(np.where(self._down, 0.0, taken_a))
        return np.asarray(self._has_enough(least) & self._as_sent)

    def _has_enough(self, least: Least) -> Bools:
        enough = np.maximum(self._least_v, enough_v(self._chip))
        calm = ((least.volts >= enough) | self._down).all(axis=1)
        return np.asarray(calm & (least.supply_a <= self._amps).all(axis=1))

    def show(
        self, data: Bytes, starts_ns: int, ready_ns: int, calm: Bools | None = None
    ) -> Powered:
        """Send the LED bytes (B,) of a picture at a time, and let it latch until another.

        calm: (F,) walls of which `calm` is known for this picture and for the one before.
        """
        self._calm = np.zeros(len(self._held), dtype=np.bool_) if calm is None else calm
        # Between two pictures nothing changes but supplies that try again.
        if self._last is None or self._trips.any():
            self._last = self._reset(starts_ns)
        reset, _, volts = self._last
        self._held[reset] = 0
        values, got = self._chain(volts < self._least_v).take(data)
        self._held = np.where(got[..., None], values, self._held)
        self._last = self._reset(ready_ns, trips=True)
        _, drives, volts = self._last
        light = duty(drives, self._chip) * headroom(volts, self._chip) * self._glow
        return Powered(drives, light.astype(np.float32))

    def _reset(self, time_ns: int, trips: bool = False) -> tuple[Bools, Bytes, Floats]:
        """Which LEDs (F, N) reset; then the drives (F, N, C) that are shown, and the volts."""
        shown = np.where(self._off, np.uint8(0), self._held)
        latched = fully_lit(shown, self._on, full_drives(self._chip))
        volts = self._volts(latched, time_ns, trips)
        reset = volts < self._least_v
        drives = np.where(reset[..., None], np.uint8(0), latched)
        if (drives != latched).any():
            volts = self._volts(drives, time_ns)
        return reset, drives, volts

    def _chain(self, down: Bools) -> Chain:
        """The tables of all walls while some LEDs (F, N) have no supply."""
        if self._out is None or not np.array_equal(down, self._out):
            before = [None] * len(down) if self._out is None else [*self._out]
            for number, (out, was) in enumerate(zip(down, before, strict=True)):
                if was is None or not np.array_equal(out, was):
                    built, works = self._built[number], ~out
                    self._tables[number] = by_led(
                        replace(built, hears=built.hears & works, passes=built.passes & works)
                    )
            self._out = down
            self._stack = stacked([self._tables[number] for number in range(len(down))])
        return self._stack

    def _volts(self, drives: Bytes, time_ns: int, trips: bool = False) -> Floats:
        """Volts (F, N) that LEDs get if they show drives (F, N, C); a bound where they have enough.

        trips: whether supplies may trip.
        """
        off = (self._off_until_ns > time_ns).any(axis=1)
        if (self._calm & ~off).all():
            return np.where(self._down, 0.0, np.maximum(self._least_v, enough_v(self._chip)))
        least = self._lines.least(np.where(self._down, 0.0, nominal_a(drives, self._chip)))
        calm = self._has_enough(least) & ~off
        volts = np.where(self._down, 0.0, least.volts)
        which = np.flatnonzero(~calm)
        if which.size:
            volts[which] = self._solved(drives[which], time_ns, which, trips)
        return volts

    def _solved(self, drives: Bytes, time_ns: int, which: NDArray[np.intp], trips: bool) -> Floats:
        networks = [self._networks[n] for n in which]
        can, amps = self._trips[which], self._amps[which]
        on = self._off_until_ns[which] <= time_ns
        most_a = np.where(on, np.where(can, np.inf, amps), 0.0)
        rails = solve_each(networks, drives, self._chip, most_a)
        over = can & (rails.supply_current_a > amps)
        if not over.any():
            return rails.led_volts
        if trips:
            until = self._off_until_ns[which]
            until[over] = time_ns + self._retry_ns[which][over]
            self._off_until_ns[which] = until
        volts = rails.led_volts.copy()
        tripped = np.flatnonzero(over.any(axis=1))
        most_a[over] = 0.0
        some = [networks[n] for n in tripped]
        again = solve_each(some, drives[tripped], self._chip, most_a[tripped])
        volts[tripped] = again.led_volts
        return volts


def play(
    display: Display, walls: Sequence[Settled], pattern: Pattern, watch: Watch
) -> tuple[dict[str, NDArray[np.uint64]], Bools]:
    """The signatures (F,) of each observer, and whether light or drives change (F,)."""
    found = {name: np.zeros(len(walls), dtype=np.uint64) for name in OBSERVERS}
    changes = np.zeros(len(walls), dtype=np.bool_)
    ever = {name: np.zeros((len(walls), display.leds), dtype=np.bool_) for name in OBSERVERS}
    eye, those, bench = watch.eye, Walls(display, walls), Bench(display)
    network, all_leds = build_network(display), np.arange(display.leds)
    none = np.zeros_like(all_leds)
    all_on = eye.mixed(Walls(display, walls).show(watch.white_data[0], 0, 1).light)[..., 1]
    for first, pictures in pattern.in_blocks(display):
        sent = sent_drives(pictures, display)
        light = solve_rails(network, sent, display.chip).delivered.astype(np.float32)
        calm = those.calm(nominal_a(sent, display.chip).max(axis=0))
        rng = np.random.default_rng(first)
        weights = rng.integers(0, 1 << 64, sent.shape[:2], dtype=np.uint64)
        for number, data in enumerate(data_of(sent, display)):
            starts_ns = (first + number) * pattern.hold_ms * 1_000_000
            bench.clock.wait_until(starts_ns)
            ready_ns = bench.send(pictures[number]).ready_ns
            powered = those.show(data, starts_ns, ready_ns, calm if number else None)
            changes |= (powered.drives != sent[number]).any(axis=(1, 2))
            changes |= (np.abs(powered.light - light[number]) > _LEAST_CHANGE).any(axis=(1, 2))
            differing = np.flatnonzero((powered.light != light[number]).any(axis=(1, 2)))
            if not differing.size:
                continue
            shown = Shown(
                powered.drives[differing],
                eye.mixed(powered.light[differing]),
                all_on[differing],
                none,
            )
            as_planned = eye.mixed(light[number, None])
            planned = Shown(
                sent[number, None],
                np.broadcast_to(as_planned, shown.light.shape),
                watch.all_on,
                none,
            )
            for name, differs in watch.differences(planned, shown, all_leds).items():
                sums = (differs * weights[number]).sum(axis=1, dtype=np.uint64)
                found[name][differing] += sums
                ever[name][differing] |= differs != 0
    for wall in np.flatnonzero([one.comes_and_goes for one in walls]):
        for name in OBSERVERS:
            found[name][wall] = watch.stretches(ever[name][wall], FLICKERS)
    return found, changes
