"""The power figures of a display as data: currents, supplies, voltages, wires, energy, heat."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import Any

from emulator.arrays import Floats
from emulator.power.changes import with_its_like
from emulator.power.wire import AMPACITY_SOURCE, CAUTION
from harness.power.heat import ASSUMPTION, Rise, rise

DAYS_A_YEAR = 365


@dataclass(frozen=True)
class Load:
    """One way of lighting the display, with supplies that hold their voltage.

    asked_a: A by the catalogue's figures; also for each line and run. drawn_a: A through the wires,
    which is less where voltages are low. supplied_w: W from the supplies.
    """

    name: str
    asked_a: float
    drawn_a: float
    supplied_w: float
    line_a: tuple[float, ...]
    run_a: tuple[float, ...]
    supply_a: tuple[float, ...]


@dataclass(frozen=True)
class SupplyUse:
    """A supply against its rating.

    heaviest_a: A that the heaviest picture within the limit can ask of it, by the catalogue's
    figures; its LEDs take less only while thin wires starve them. drawn_a: A that they take through
    the wires as they are. share: heaviest_a over the rating.
    """

    name: str
    volts: float
    rated_a: float
    overload: str
    heaviest_a: float
    drawn_a: float

    @property
    def share(self) -> float:
        return self.heaviest_a / self.rated_a


@dataclass(frozen=True)
class Lowest:
    """The LED that gets the lowest voltage. delivered: share 0…1 of its nominal current each
    channel holds there, R G B (W); colour: what white looks like there, as '#rrggbb'. column, row:
    -1 for a hidden LED."""

    volts: float
    line: int
    led: int
    column: int
    row: int
    run: int
    delivered: tuple[float, ...]
    colour: str

    @property
    def cell(self) -> str:
        """Its cell in words."""
        return "no cell" if self.column < 0 else f"column {self.column}, row {self.row}"


@dataclass(frozen=True)
class WireUse:
    """Identical pairs of wires, with the most current that any of them can carry.

    kind: what they are for, ROLES. gauge: '' for the rails of a strip. length_m: of each. drop_v:
    in both conductors. loss_w: of all together. ampacity_a: guidance, None if there is none.
    supply_a: most current of the supply before them, None if there is none. fuse_a: suggested at
    the start of each, None if none is needed or none fits. bears_supply: each can carry all of its
    supply's current and needs no fuse. unprotected: it needs a fuse, but no common fuse carries the
    current, protects the wire and is blown by the supply.
    """

    kind: str
    name: str
    gauge: str
    length_m: float
    count: int
    current_a: float
    drop_v: float
    loss_w: float
    ampacity_a: float | None
    supply_a: float | None
    fuse_a: float | None
    bears_supply: bool = False
    unprotected: bool = False

    @property
    def over(self) -> bool:
        """Whether they carry more than the guidance."""
        return self.kind != "rail" and self.current_a > (self.ampacity_a or 0)


ROLES = ("supply to bus", "bus", "feed", "jumper", "rail")


@dataclass(frozen=True)
class Energy:
    """Energy of the typical load in the opening hours; losses of the supplies come on top."""

    typical_w: float
    hours_a_day: float
    kwh_a_day: float
    price_per_kwh: float

    @property
    def cost_a_day(self) -> float:
        return self.kwh_a_day * self.price_per_kwh

    @property
    def cost_a_year(self) -> float:
        return DAYS_A_YEAR * self.cost_a_day


@dataclass(frozen=True)
class Solver:
    """How well the voltages were found, over all frames solved: worst residual, most steps, and
    the largest share of the supplied power that LEDs and wires do not account for."""

    converged: bool
    residual_a: float
    steps: int
    unbalanced: float


@dataclass(frozen=True)
class Assessment:
    """Everything that `foreglow power` reports. `heaviest`: full white, or what the limit allows.

    lowest: at `heaviest`, with the supplies as they are. lowest_held: as if they held their
    voltage, so this is the effect of the wires alone. typical: None if no scene was followed.
    run_volts: voltage of each LED of each run at the moment of `lowest`. needed_v: from this
    voltage on, every channel has its full current.
    """

    display: str
    limit_a: float | None
    stated: bool
    dark: Load
    typical: Load | None
    typical_of: tuple[str, ...]
    white: Load
    heaviest: Load
    supplies: tuple[SupplyUse, ...]
    lowest: Lowest
    lowest_held: Lowest
    needed_v: float
    first_led_v: tuple[float, ...]
    wires: tuple[WireUse, ...]  # one by one, largest current first
    wire_rows: tuple[WireUse, ...]  # identical ones together, by kind
    energy: Energy | None
    wall_m2: float
    depth_mm: float  # of the covers
    solver: Solver
    run_volts: tuple[Floats, ...] = field(repr=False, compare=False)
    caution: str = CAUTION
    ampacity_source: str = AMPACITY_SOURCE

    @property
    def supply_rows(self) -> list[tuple[str, SupplyUse, list[int]]]:
        """Supplies whose currents round to the same 10 mA together: words for them, the first, and
        the numbers of all."""
        rows: dict[tuple[object, ...], list[int]] = {}
        for number, s in enumerate(self.supplies):
            amps = round(s.heaviest_a, 2), round(s.drawn_a, 2)
            rows.setdefault((s.volts, s.rated_a, s.overload, *amps), []).append(number)
        found = []
        for numbers in rows.values():
            first = self.supplies[numbers[0]]
            found.append((with_its_like(first.name, len(numbers)), first, numbers))
        return found

    @property
    def loads(self) -> tuple[Load, ...]:
        """Dark, typical (if known), full white, and full white within the limit."""
        every = (self.dark, self.typical, self.white, self.heaviest)
        return tuple(dict.fromkeys(load for load in every if load is not None))

    def heat_w_m2(self, load: Load) -> float:
        """Power in W for each m² of wall: most becomes heat, some becomes light."""
        return load.supplied_w / self.wall_m2

    def rise(self, load: Load) -> Rise:
        """How many K warmer than the room covers and board get under a load."""
        return rise(self.heat_w_m2(load), self.depth_mm)

    def to_json(self) -> dict[str, Any]:
        """All figures as plain data."""
        plain = asdict(self)
        del plain["run_volts"]
        plain["supplies"] = [{**asdict(s), "share": s.share} for s in self.supplies]
        plain["heat_w_m2"] = {load.name: self.heat_w_m2(load) for load in self.loads}
        plain["rise_k"] = {load.name: asdict(self.rise(load)) for load in self.loads}
        plain["rise_assumed"] = ASSUMPTION
        if self.energy:
            costs = {"cost_a_day": self.energy.cost_a_day, "cost_a_year": self.energy.cost_a_year}
            plain["energy"] |= costs
        return plain
