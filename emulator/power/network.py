"""The wires of a display as a graph: LEDs, bus taps and supplies joined by pairs of copper.

Each wire is a pair, + and ground, of equal resistance; the grounds of all supplies are joined.
So one graph gives the voltage across each LED, where two would be needed otherwise. With potentials
p and g and the same matrix for both, L p = supplies − loads and L g = loads. Then V = p − g obeys
½ L V = ½ (currents into + and out of ground) − loads: the graph of the pairs, with the
resistance of both conductors on every edge.

If supplies of unequal volts share a strip, the two currents at a terminal differ: current then
circulates through + and the joined grounds. It equals Y V at the terminals, where Y is the network
between them without loads. With ½ Y added as conductances between the terminals (the links), each
supply feeds in its true + current.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Literal

import numpy as np

from emulator.arrays import Bools, Floats, Ints
from emulator.description.display import Display
from emulator.description.feeding import complete_power, long_m
from emulator.description.power import FeedSection, PowerSection
from emulator.power.elimination import Elimination, Factors, RowSum
from emulator.power.wire import copper_ohm_per_m, pair_area_mm2, temperature_factor

Kind = Literal["rail", "jumper", "feed", "bus"]

GROUNDED_S = 1e9  # a terminal held at 0 V, beside resistances of a milliohm

# The least resistance of a supply, so that its law has one voltage for each current: 30 µV at 30 A.
SUPPLY_OHM = 1e-6

SLOPE_FLOOR_S = 1e-8  # keeps Newton's matrix regular where every current is constant

# The least resistance of a wire, that of a joint: 60 nV at 30 A.
JOINT_OHM = 1e-9


@dataclass(frozen=True)
class Wire:
    """A named pair of conductors.

    area_mm2: cross-section of each; None for the rails of a strip. length_m: one way. supply:
    number of the supply that feeds it; None for rails and jumpers. begins: whether a fuse belongs
    at its start, because it comes straight from a supply or branches off a bus. feed: the number
    of the feed that a wire of kind 'feed' is, or that a piece of bus leads to.
    """

    kind: Kind
    name: str
    length_m: float
    area_mm2: float | None = None
    supply: int | None = None
    begins: bool = False
    feed: int | None = None


@dataclass(frozen=True, eq=False)
class Network:
    """The wires as a graph. Nodes 0…N-1 are the LEDs, then come supplies, then bus taps: M in all.

    ends: (E, 2) node numbers of each edge. ohm: (E,) resistance of one conductor of it. wire:
    (E,) index of its wire in `wires`; the rails of a run are one wire of many edges. ground_ohm:
    (E,) of the ground conductors where they differ from those of +, else None; then what is
    calculated from pairs (`drops_v`, `pair_s` …) does not hold.
    """

    power: PowerSection
    leds: int
    nodes: int
    ends: Ints
    ohm: Floats
    wire: Ints
    wires: tuple[Wire, ...]
    ground_ohm: Floats | None = None

    @property
    def supplies(self) -> int:
        """S, how many supplies there are."""
        return len(self.power.supply)

    @property
    def terminals(self) -> Ints:
        """Nodes (S,) of the supplies."""
        return np.arange(self.leds, self.leds + self.supplies)

    @cached_property
    def supply_volts(self) -> Floats:
        """Nominal volts of each supply (S,)."""
        return np.array([s.volts for s in self.power.supply], dtype=np.float64)

    @cached_property
    def source_ohm(self) -> Floats:
        """Own resistance of each supply (S,), as the display file gives it."""
        return np.array([s.source_ohm for s in self.power.supply], dtype=np.float64)

    @property
    def supply_ohm(self) -> Floats:
        """The same (S,), at least SUPPLY_OHM: what is calculated with."""
        return np.maximum(self.source_ohm, SUPPLY_OHM)

    @cached_property
    def supply_amps(self) -> Floats:
        """Rated current of each supply (S,)."""
        return np.array([s.amps for s in self.power.supply], dtype=np.float64)

    @cached_property
    def trips(self) -> Bools:
        """(S,) whether an overload switches a supply off."""
        return np.array([s.overload == "trip" for s in self.power.supply])

    @cached_property
    def shape(self) -> Elimination:
        """The solver for the edges alone, of one conductor."""
        return _elimination(self.nodes, self.ends.tobytes())

    @cached_property
    def _links(self) -> tuple[Ints, Floats]:
        """(K, 2) pairs of terminals that share a strip, and ½ Y between them (K,), S."""
        part = self.parts[self.terminals]
        order = np.argsort(part, kind="stable")  # terminals of one part follow each other
        nth = np.empty_like(order)  # the place of each among those of its part
        nth[order] = np.arange(order.size) - np.searchsorted(part[order], part[order])
        held = np.zeros((self.nodes, 1))
        held[self.terminals] = GROUNDED_S
        unit = np.zeros((self.nodes, nth.max(initial=-1) + 1))
        unit[self.terminals, nth] = GROUNDED_S  # one terminal of each part at a time
        volts = self.shape.factors(1 / self.ohm, held).solve(unit)[self.terminals]
        # From the current to 0 V at the other terminals: differences of volts would round it away.
        joined_s = GROUNDED_S * volts / 2
        real = (joined_s > 1e-9) & (np.arange(unit.shape[1]) > nth[:, None])  # less is rounding
        first, column = np.nonzero(real)
        begins = np.searchsorted(part[order], part[first])
        pairs = np.stack([first, order[begins + column]], axis=1)
        return self.terminals[pairs], joined_s[first, column]

    @cached_property
    def parts(self) -> Ints:
        """(M,) the part of each node: the lowest number of the nodes that wires join to it."""
        part = np.arange(self.nodes)
        a, b = self.ends.T
        while True:
            lower = np.minimum(part[a], part[b])
            new = part.copy()
            np.minimum.at(new, part[a], lower)
            np.minimum.at(new, part[b], lower)
            new = new[new]
            if np.array_equal(new, part):
                return part
            part = new

    @cached_property
    def _all_ends(self) -> Ints:
        """The edges, then the links."""
        return np.concatenate([self.ends, self._links[0]])

    @cached_property
    def elimination(self) -> Elimination:
        """The solver for this shape: the edges, then the links between terminals."""
        links = len(self._links[0])
        return _elimination(self.nodes, self._all_ends.tobytes()) if links else self.shape

    @cached_property
    def conductor_s(self) -> Floats:
        """(E + K,) conductance of one conductor of each edge, then 0 for each link, S."""
        return np.concatenate([1 / self.ohm, np.zeros(len(self._links[1]))])

    @cached_property
    def pair_s(self) -> Floats:
        """(E + K,) conductance of each edge, both conductors in series, then of each link, S."""
        return np.concatenate([1 / (2 * self.ohm), self._links[1]])

    @cached_property
    def idle_s(self) -> Floats:
        """(M, 1) how fast the currents at each node grow with its voltage where each LED has the
        volts for its full current and each supply holds its own, S."""
        slope_s = np.zeros((self.nodes, 1))
        slope_s[: self.leds] = SLOPE_FLOOR_S
        slope_s[self.terminals, 0] = 1 / self.supply_ohm + SLOPE_FLOOR_S
        return slope_s

    @cached_property
    def idle(self) -> Factors:
        """The network with `idle_s`, factored once for all frames."""
        return self.elimination.factors(self.pair_s, self.idle_s)

    def drops_v(self, taken_a: Floats) -> Floats:
        """Voltage drop (K, N) at every LED if the LEDs take these currents (K, N), in volts.

        Supplies hold their volts, less the drop over their own resistance.
        """
        frames = len(taken_a)
        shunt_s = np.zeros((self.nodes, 1))
        shunt_s[self.terminals, 0] = 1 / self.supply_ohm
        out = np.zeros((self.nodes, frames))
        out[: self.leds] = taken_a.T
        return self.elimination.factors(self.pair_s, shunt_s).solve(out)[: self.leds].T

    @cached_property
    def _flows(self) -> _Flows:
        return _Flows(self.nodes, self._all_ends, self.pair_s)

    def outflow_a(self, volts: Floats) -> Floats:
        """Current (M, T) that leaves each node through its pairs at volts (M, T), A."""
        return self._flows.out_a(volts)


class _Flows:
    """What flows in the edges of a network of so many nodes.

    Most edges of a wall join an LED to the one with the next number: they are slices.
    """

    def __init__(self, nodes: int, ends: Ints, edge_s: Floats) -> None:
        follows = ends[:, 1] - ends[:, 0] == 1
        self._next_s = np.bincount(ends[follows, 0], edge_s[follows], nodes - 1)[:, None]
        self._a, self._b = ends[~follows].T
        self._to_a, self._to_b = RowSum(self._a), RowSum(self._b)
        self._edge_s = edge_s[~follows][:, None]

    def out_a(self, volts: Floats) -> Floats:
        """Current (M, T) that leaves each node."""
        out = np.zeros_like(volts)
        flow = volts[:-1] - volts[1:]
        flow *= self._next_s
        out[:-1] = flow
        out[1:] -= flow
        flow = (volts.take(self._a, axis=0) - volts.take(self._b, axis=0)) * self._edge_s
        self._to_a.add(out, flow)
        self._to_b.add(out, -flow)
        return out


@lru_cache(maxsize=4)
def _elimination(nodes: int, ends: bytes) -> Elimination:
    """The solver for a shape; networks that differ only in their wires share it."""
    return Elimination(nodes, np.frombuffer(ends, dtype=np.int64).reshape(-1, 2))


def build_network(display: Display, power: PowerSection | None = None) -> Network:
    """The network of a display, or of the display with another power section.

    The section is not checked: `load_display` does that.
    """
    wiring = display.wiring
    section = complete_power(power or display.power, display.chip, wiring, display.placement)
    maker = _Maker(len(wiring), section)
    warm = float(temperature_factor(section.copper_c))
    for number, run in enumerate(wiring.runs):
        first = wiring.line_starts[run.line] + run.first
        step_m = display.geometry.pitch_mm(run) / 1000
        ends = first + np.stack([np.arange(run.leds - 1), np.arange(1, run.leds)], axis=1)
        ohm = np.full(run.leds - 1, step_m * section.rail_ohm_per_m * warm)
        maker.add(Wire("rail", f"run {number}", (run.leds - 1) * step_m), ends, ohm)
        if section.jumper and number and wiring.runs[number - 1].line == run.line:
            j = section.jumper
            length_m = j.length_m or display.geometry.jumpers_of[number - 1].length_mm / 1000
            maker.wire("jumper", f"run {number - 1} to {number}", first - 1, first, j.gauge,
                       length_m, j.connector_mohm)  # fmt: skip
    for number, supply in enumerate(section.supply):
        maker.feeds(number, supply.name or f"supply {number}", wiring.line_starts)
    return maker.network()


class _Maker:
    """Gathers the edges of a network."""

    def __init__(self, leds: int, section: PowerSection) -> None:
        self.leds, self.section = leds, section
        self.nodes = leds + len(section.supply)
        self.wires: list[Wire] = []
        self.ends: list[Ints] = []
        self.ohm: list[Floats] = []
        self._ohm_per_m: dict[tuple[str, float], float] = {}
        self._bus_of = {bus.supply: bus for bus in section.bus}
        self._feeds_of: dict[int, list[tuple[int, FeedSection]]] = {}
        for number, feed in enumerate(section.feed):
            self._feeds_of.setdefault(feed.supply, []).append((number, feed))

    def add(self, wire: Wire, ends: Ints, ohm: Floats) -> None:
        self.wires.append(wire)
        self.ends.append(ends)
        self.ohm.append(ohm)

    def wire(
        self, kind: Kind, name: str, a: int, b: int, gauge: tuple[str, float], length_m: float,
        connector_mohm: float = 0.0, supply: int | None = None, begins: bool = False,
        feed: int | None = None,
    ) -> None:  # fmt: skip
        """A wire of one edge from node a to node b."""
        area = pair_area_mm2(gauge)
        ohm = self.ohm_per_m(gauge) * length_m + connector_mohm / 1000
        wire = Wire(kind, name, length_m, area, supply, begins, feed)
        self.add(wire, np.array([[a, b]]), np.array([ohm]))

    def ohm_per_m(self, gauge: tuple[str, float]) -> float:
        """Of one conductor of a gauge."""
        if gauge not in self._ohm_per_m:
            ohm = copper_ohm_per_m(pair_area_mm2(gauge), self.section.copper_c)
            self._ohm_per_m[gauge] = float(ohm)
        return self._ohm_per_m[gauge]

    def feeds(self, supply: int, name: str, line_starts: tuple[int, ...]) -> None:
        """The bus of a supply, if it has one, and its feeds in the order listed."""
        bus = self._bus_of.get(supply)
        at = self.leds + supply
        for order, (number, feed) in enumerate(self._feeds_of.get(supply, ())):
            if bus:
                tap, self.nodes = self.nodes, self.nodes + 1
                length_m = feed.bus_m if order else bus.to_first_m
                self.wire("bus", f"bus of {name}, to feed {number}", at, tap, bus.gauge,
                          length_m or 0.0, 0.0, supply, not order, number)  # fmt: skip
                at = tap
            led = line_starts[feed.line] + feed.led
            self.wire("feed", f"feed {number}, line {feed.line} LED {feed.led}", at, led,
                      feed.gauge, long_m(feed), feed.connector_mohm, supply, True,
                      number)  # fmt: skip

    def network(self) -> Network:
        wire = np.repeat(np.arange(len(self.wires)), [len(e) for e in self.ends])
        ends = np.concatenate(self.ends).astype(np.int64)
        return Network(
            self.section, self.leds, self.nodes, ends,
            np.maximum(np.concatenate(self.ohm), JOINT_OHM), wire, tuple(self.wires),
        )  # fmt: skip
