"""The parts to buy, with counts and weights, and the time that the work takes."""

from __future__ import annotations

import tomllib
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import NamedTuple

from emulator.description.cutlist import CutList, cut_list
from emulator.description.display import Display
from emulator.description.geometry import Geometry
from emulator.errors import UnsupportedError
from emulator.files import read_file
from harness.report.sheet.volts import Expected
from harness.report.sheet.wires import COLOURS, CutWire, cut_wires, signals

# Own figures, rough; weigh your own.
STRIP_G_M = 20.0  # a bare strip
BOARD_KG_M3 = 650.0  # plywood
COPPER_G_MM2_M = 8.96  # copper, 8.96 g/cm³: CRC Handbook, from memory
INSULATION = 1.3  # a wire with its insulation, over its copper

# Minutes of work: own figures of one who has soldered before; yours come from your first run.
MINUTES = {
    "solder a joint": 1.0, "cut, strip and label a wire": 1.5, "drill a hole": 0.5,
    "cut, clean and glue a piece of strip": 4.0, "fit a fuse": 3.0, "test after a run": 3.0,
}  # fmt: skip

# A high level needs this share of the supply: WS2812B datasheet, V_IH = 0.7 V_DD.
HIGH_SHARE = 0.7

_MOST_BYTES = 100_000


class Part(NamedTuple):
    """A part to buy: how many, and in what unit; key: of its price in the file of prices."""

    key: str
    name: str
    amount: float
    unit: str
    weight_g: float | None
    note: str


@dataclass(frozen=True, eq=False)
class Shopping:
    """What a display needs, of its geometry and its power."""

    display: Display
    geometry: Geometry
    expected: Expected

    @cached_property
    def cuts(self) -> CutList:
        """The strips' pieces and reels."""
        return cut_list(self.display)

    @cached_property
    def wires(self) -> tuple[CutWire, ...]:
        """All wires."""
        return cut_wires(self.display, self.geometry)

    def joints(self) -> dict[str, int]:
        """Joints to solder, by what they join."""
        wires, display = self.wires, self.display
        pads = len(display.board.pads_of(display.chip))
        pieces = len(self.cuts.pieces) - len(display.wiring.runs)
        kinds = Counter(wire.number[0] for wire in wires)
        return {
            "data from the controller, at the strip": kinds["D"],
            "jumpers, both ends": 2 * kinds["J"],
            "feeds, at the strip": kinds["F"],
            "feeds, at the bus or supply": kinds["F"],
            "pieces of strip joined in a run": pieces * pads,
        }

    def hours(self) -> dict[str, float]:
        """Hours of each kind of work, by MINUTES."""
        runs = len(self.display.wiring.runs)
        counts = {
            "solder a joint": sum(self.joints().values()),
            "cut, strip and label a wire": len(self.wires),
            "drill a hole": len(self.geometry.holes),
            "cut, clean and glue a piece of strip": len(self.cuts.pieces),
            "fit a fuse": sum(self.fuses().values()),
            "test after a run": runs,
        }
        return {work: count * MINUTES[work] / 60 for work, count in counts.items()}

    def fuses(self) -> dict[float, int]:
        """Fuses by their amperes."""
        found = Counter([*self.expected.fuses.values(), *self.expected.bus_fuses.values()])
        return {amps: found[amps] for amps in sorted(found)}

    def parts(self) -> list[Part]:
        """The list of parts."""
        display, chip = self.display, self.display.chip
        cuts, power = self.cuts, self.display.whole_power
        strip_m = sum(piece.length_mm for piece in cuts.pieces) / 1000
        width, height = display.placement.size_mm
        thick = display.board.thickness_mm
        board_g = width * height * thick / 1e9 * BOARD_KG_M3 * 1000
        left = sum(reel.left_over for reel in cuts.reels)
        found = [
            Part("board", f"board {width:.0f} × {height:.0f} × {thick:g} mm", 1, "", board_g,
                 f"weight as plywood of {BOARD_KG_M3:g} kg/m³"),
            Part("reel", f"reel of {cuts.reel_leds} LEDs {chip.part}", len(cuts.reels), "",
                 strip_m * STRIP_G_M, f"{left} LEDs left over; weight of what you use"),
        ]  # fmt: skip
        sizes = Counter((s.volts, s.amps) for s in power.supply)
        found += [
            Part("supply", f"supply {volts:g} V, {amps:g} A", count, "", None,
                 "enclosed, for your mains; weight: see its datasheet")
            for (volts, amps), count in sizes.items()
        ]  # fmt: skip
        found += [
            Part("fuse", f"fuse {amps:g} A with holder", count, "", None, "see the wire list")
            for amps, count in self.fuses().items()
        ]
        joined = sum(feed.connector_mohm > 0 for feed in power.feed)
        if joined:
            found.append(Part("connector", "pair of connectors, + and GND", joined, "", None,
                              "one in each feed, as connector_mohm assumes"))  # fmt: skip
        return [*found, *self._wire_parts(), *self._signal_parts()]

    def _wire_parts(self) -> list[Part]:
        metres: dict[tuple[str, str], float] = {}
        area: dict[str, float] = {}
        for wire in self.wires:
            key = (wire.gauge, COLOURS[wire.use])
            metres[key] = metres.get(key, 0.0) + wire.length_mm / 1000
            area[wire.gauge] = wire.area_mm2
        return [
            Part("wire_m", f"wire {gauge}, {colour}", length, "m",
                 length * area[gauge] * COPPER_G_MM2_M * INSULATION, "stranded, with insulation")
            for (gauge, colour), length in sorted(metres.items())
        ]  # fmt: skip

    def _signal_parts(self) -> list[Part]:
        display, chip = self.display, self.display.chip
        lines = len(display.wiring.line_names)
        each = lines * len(signals(display))
        first_v = display.controller.first_led_volts or chip.volts
        needed_v = HIGH_SHARE * first_v
        logic_v = display.controller.logic_volts
        shift = logic_v < needed_v
        found = [
            Part("level_shifter", "level shifter, channels", each if shift else 0, "", None,
                 f"a high needs {needed_v:.2f} V (0.7 of {first_v:g} V: WS2812B datasheet; look at"
                 f" that of your chip), the data has {logic_v:g} V"),
            Part("resistor", "resistor 330 Ω", each, "", None,
                 "in each signal, beside the controller: common practice, no source"),
            Part("capacitor", f"capacitor 1000 µF, {_capacitor_v(chip.volts):g} V or more",
                 len(display.whole_power.supply), "", None,
                 "across + and GND at the first feed of each supply, mind its polarity: common"
                 " practice, no source"),
        ]  # fmt: skip
        return [part for part in found if part.amount]


def _capacitor_v(volts: float) -> float:
    """The rated volts of a capacitor: the first common one that leaves a quarter."""
    common = (6.3, 10, 16, 25, 35, 50, 63, 100)
    return next(v for v in common if v >= 1.25 * volts)


PRICED = (
    "board", "reel", "supply", "fuse", "connector", "wire_m", "level_shifter", "resistor",
    "capacitor",
)  # fmt: skip


def read_prices(path: Path) -> Mapping[str, float]:
    """Your prices: a TOML file with lines such as `reel = 12.50`. Raises UnsupportedError."""
    try:
        found = tomllib.loads(read_file(path, _MOST_BYTES).decode())
    except (OSError, ValueError) as error:
        raise UnsupportedError(
            f"the prices cannot be read ({error})", place=path,
            fix="give a TOML file with lines such as reel = 12.50.",
        ) from error  # fmt: skip
    for key, price in found.items():
        right = isinstance(price, (int, float)) and not isinstance(price, bool)
        if key not in PRICED or not right or not 0 <= price < 1e9:
            raise UnsupportedError(
                f"'{key}' = {price!r} is not a price that the sheet knows", place=path,
                fix=f"give a number of 0 or more for {', '.join(PRICED)}.",
            )  # fmt: skip
    return found
