"""Each wall of a campaign as its stages are given it, and how its effects come.

Most faults of the power and of the signal act like one of the strip, for any picture:

- A joint that cuts LEDs off leaves them dark, and what is behind them on the line without data.
  One that leaves every channel its headroom, under all pictures at once, changes no light.
- A data wire on which every bit is read the same way, whatever the noise, gives the right bits,
  only zeros, only ones, or nothing.

Then the wall is steady: its facts, with these added, say all. Else it must be played: it sags, if
volts matter, or it is restless, if chance has a part in it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from emulator.arrays import Bools, Floats, Ints
from emulator.chain import by_led, full_drives
from emulator.description.chips import Clocked
from emulator.description.display import Display
from emulator.description.faults.built import Built, DataWire, as_built
from emulator.description.faults.fault import Fault
from emulator.power.joints import with_joints
from emulator.power.least import Lines, enough_v, nominal_a
from emulator.power.network import Network, build_network
from emulator.signal.disturbed import STUCK, chance_of_false, pulse
from harness.campaign.watch import sent_drives
from harness.patterns.pattern import Pattern

Wall = tuple[Fault, ...]
Manner = Literal["steady", "now and then", "restless", "sagging"]

_NEVER = 1e-10  # a chance this small does not come up in a campaign
# Walls of a part: of LEDs in memory, of LEDs that may be played, of those that take long.
_LEDS_AT_ONCE, _WALLS_AT_ONCE = 1 << 24, 1024
_LEDS_PLAYED = 1 << 19
_RESTLESS_AT_ONCE = 4
# What arrives, as a fact of the first LED on the line.
_FACT_OF_FIRST = {"nothing": ("hears", False), "zeros": ("clears", True), "ones": ("sets", True)}


@dataclass(frozen=True, eq=False)
class Settled:
    """A wall: its facts while all its faults are there.

    steady: these facts say all. now and then: so they do, while its faults are there. restless,
    sagging: it must be played. network: its wires, where it has a fault of the power, else None.
    down: (N,) LEDs that get no supply, whatever is shown.
    """

    faults: Wall
    built: Built
    manner: Manner
    network: Network | None
    down: Bools

    @property
    def there(self) -> Wall:
        """The faults while all of them are there."""
        return tuple(fault.lasting() for fault in self.faults)

    @property
    def comes_and_goes(self) -> bool:
        """Whether its faults are not always there."""
        return self.there != self.faults

    @property
    def holds(self) -> Bools:
        """(N,) the LEDs that keep what they show while the faults are there: no data comes."""
        return np.asarray((by_led(self.built).at < 0) & ~self.down)


def loads_of(display: Display, patterns: Sequence[Pattern]) -> Floats:
    """Currents (G, N) of which each frame of the patterns is below one everywhere, A.

    Frames are joined as long as all LEDs together take no more than the brightest frame does.
    """
    each = [
        nominal_a(sent_drives(pictures, display), display.chip)
        for pattern in patterns
        for _, pictures in pattern.in_blocks(display)
    ]
    if not each:
        return np.zeros((1, display.leds))
    most_a = max(float(frames.sum(axis=1).max()) for frames in each)
    found: list[Floats] = []
    for frames in each:
        for frame in frames:
            joined = np.maximum(frame, found[-1]) if found else frame
            if found and joined.sum() <= most_a * (1 + 1e-9):
                found[-1] = joined
            else:
                found.append(frame)
    return np.unique(np.stack(found), axis=0)


def settle(display: Display, walls: Sequence[Wall], loads_a: Floats) -> Iterator[Settled]:
    """Each wall, in order. loads_a: as `loads_of` gives them."""
    powered = [n for n, wall in enumerate(walls) if any(f.stage == "power" for f in wall)]
    known = dict(zip(powered, _fed(display, [walls[n] for n in powered], loads_a), strict=True))
    none = np.zeros(display.leds, dtype=np.bool_)
    for number, wall in enumerate(walls):
        built, network, down, sags = known.pop(number, None) or (
            as_built(display, wall), None, none, False,
        )  # fmt: skip
        if down.any():
            built.hears, built.passes = built.hears & ~down, built.passes & ~down
            built.on = built.on & ~down[:, None]
        quiet = _settle_data(built)
        manner: Manner = "steady"
        if not quiet:
            manner = "restless"
        elif sags:
            manner = "sagging"
        elif any(fault.comes_and_goes for fault in wall):
            manner = "now and then"
        yield Settled(wall, built, manner, network, down)


def parts_of(display: Display, walls: Sequence[Wall]) -> list[Ints]:
    """The numbers of the walls that are observed together.

    Those that may have to be played are apart: a few at a time with a fault of the signal, as each
    takes long; many with one of the power, as they are played in one stack.
    """
    stages = [{fault.stage for fault in wall} for wall in walls]
    group = np.array(
        ["signal" if "signal" in s else "power" if "power" in s else "" for s in stages]
    )
    leds = max(display.leds, 1)
    found: list[Ints] = []
    for name, most in (
        ("signal", _RESTLESS_AT_ONCE),
        ("power", min(max(_LEDS_PLAYED // leds, 1), _WALLS_AT_ONCE)),
        ("", min(max(_LEDS_AT_ONCE // leds, 1), _WALLS_AT_ONCE)),
    ):
        which = np.flatnonzero(group == name)
        parts = -(-which.size // most)
        found += [which[number::parts] for number in range(parts)]
    return found


def _fed(
    display: Display, walls: Sequence[Wall], loads_a: Floats
) -> Iterator[tuple[Built, Network, Bools, bool]]:
    """Of walls with a fault of the power: the facts, the wires, the LEDs (N,) that never get a
    supply, and whether volts may matter elsewhere."""
    if not walls:
        return
    built = [as_built(display, wall) for wall in walls]
    planned = build_network(display)
    networks = [
        with_joints(
            planned if one.power == display.whole_power else build_network(display, one.power),
            one.joints,
        )
        for one in built
    ]
    chip = display.chip
    least_v = np.array([one.least_v or 0.0 for one in built])
    dark_a = np.full((len(walls), display.leds), chip.dark_ma / 1000)
    down = Lines(networks).least(dark_a).volts < least_v[:, None]
    # A fault of wiring or strip gives LEDs other data than planned: any of them may be lit fully.
    full_a = np.full((1, display.leds), float(nominal_a(full_drives(chip)[None], chip)[0]))
    moved = np.array([any(f.stage in ("wiring", "strip") for f in wall) for wall in walls])
    sags = np.zeros(len(walls), dtype=np.bool_)
    amps = np.stack([network.supply_amps for network in networks])
    enough = np.maximum(least_v, enough_v(chip))[:, None]
    for which, loads in ((np.flatnonzero(~moved), loads_a), (np.flatnonzero(moved), full_a)):
        if not which.size:
            continue
        lines = Lines([networks[n] for n in which])
        for load_a in loads:
            least = lines.least(np.where(down[which], 0.0, load_a))
            sags[which] |= ((least.volts < enough[which]) & ~down[which]).any(axis=1)
            sags[which] |= (least.supply_a > amps[which]).any(axis=1)
    yield from zip(built, networks, down, sags.tolist(), strict=True)


def _settle_data(built: Built) -> bool:
    """Put what data wires always do into the facts of the first LEDs; False if chance decides."""
    for output, way in enumerate(built.data):
        chain = built.chains[output]
        if not way.disturbs or not chain.size:
            continue
        effect = _effect(built.display, way)
        if effect is None:
            return False
        if effect != "right":
            if chain[0] < 0:
                return False  # the first LED is one too many: there is no place for this fact
            name, value = _FACT_OF_FIRST[effect]
            facts = getattr(built, name).copy()
            facts[chain[0]] = value
            setattr(built, name, facts)
        built.data[output] = DataWire(way.high_v)
    return True


def _effect(display: Display, way: DataWire) -> str | None:
    """'right', 'zeros', 'ones' or 'nothing': what arrives, always; None if it is not always so."""
    wire, chip = display.chip.wire, display.chip
    reset_ns = wire.rest_ns if isinstance(wire, Clocked) else wire.reset_ns
    if way.low_ns is not None and way.low_ns < reset_ns:
        return "nothing"
    splits = reset_ns and way.pause_ns >= reset_ns
    if way.floats or way.far_ground or way.shared_ohm or splits:
        return None
    read = set()
    highest_v = max(supply.volts or 0.0 for supply in display.whole_power.supply)
    for rail_v in (chip.volts / 2, highest_v):
        zero, one = (pulse(bit, wire, way, rail_v, 0.0) for bit in (False, True))
        false = chance_of_false(way, rail_v, 0.0)
        if false >= STUCK:
            read.add("nothing")
        elif false > _NEVER:
            return None
        elif zero.missed >= 1 - _NEVER and one.missed >= 1 - _NEVER:
            read.add("nothing")
        elif zero.missed > _NEVER or one.missed > _NEVER:
            return None
        else:
            reads = {(False, True): "right", (False, False): "zeros", (True, True): "ones"}
            read.add(reads.get((zero.one, one.one), "other"))
    return read.pop() if len(read) == 1 and read != {"other"} else None
