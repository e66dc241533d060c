"""The `[power]` section of a display file: supplies, and the wires from them to the LEDs.

Every wire is a pair: + and ground, with the same gauge and length. Feeds, supplies, lines and LEDs
are numbered from 0. Every key has a default; `emulator.description.feeding` fills in the defaults
that depend on the display.
"""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from pydantic import Field, model_validator

from emulator.description.section import Contradiction, Section, Words

THICKEST_AWG, THINNEST_AWG = -3, 40  # 4/0 to 40: the range of ASTM B258

Overload = Literal["fold back", "trip"]
Metres = Annotated[float, Field(gt=0, le=200, allow_inf_nan=False)]
Amps = Annotated[float, Field(gt=0, le=10_000, allow_inf_nan=False)]
Milliohms = Annotated[float, Field(ge=0, le=10_000, allow_inf_nan=False)]
Number = Annotated[int, Field(ge=0, lt=1 << 20)]

# IEC 60028: annealed copper has 1/58 Ω·mm²/m at 20 °C. A foil of 70 µm (2 oz) × 2.5 mm.
COPPER_OHM_MM2_PER_M = 1 / 58
FOIL_OHM_PER_M = round(COPPER_OHM_MM2_PER_M / (0.070 * 2.5), 4)


class _WirePair(Section):
    """A pair of copper wires: its gauge as AWG number or cross-section."""

    default_awg: ClassVar[int] = 18
    awg: Annotated[int, Field(ge=THICKEST_AWG, le=THINNEST_AWG)] | None = Field(
        None, description="gauge of each conductor, AWG; -3 is 4/0"
    )
    mm2: Annotated[float, Field(ge=0.005, le=120, allow_inf_nan=False)] | None = Field(
        None, description="cross-section of each conductor instead of awg, in mm²"
    )

    @model_validator(mode="after")
    def _one_gauge(self) -> _WirePair:
        if self.awg is not None and self.mm2 is not None:
            raise Contradiction(
                f"awg = {self.awg} and mm2 = {self.mm2} both give the gauge", "keep one of the two."
            )
        return self

    @property
    def gauge_is_stated(self) -> bool:
        return self.awg is not None or self.mm2 is not None

    @property
    def gauge(self) -> tuple[Literal["awg", "mm2"], float]:
        """The gauge as given, or the default in AWG."""
        if self.mm2 is not None:
            return "mm2", self.mm2
        return "awg", self.default_awg if self.awg is None else self.awg


class SupplySection(Section):
    """A power supply."""

    name: Words | None = Field(None, description="what you call this supply")
    volts: Annotated[float, Field(gt=0, le=60, allow_inf_nan=False)] | None = Field(
        None, description="output voltage; default: that of the chip"
    )
    amps: Amps | None = Field(
        None, description="rated current; default: its share of full white / 0.8"
    )
    source_ohm: Annotated[float, Field(ge=0, le=10, allow_inf_nan=False)] = Field(
        0.0, description="resistance of supply and leads: volts lost per ampere"
    )
    overload: Overload = Field(
        "fold back",
        description="above its amps: the voltage falls ('fold back'), or it switches off ('trip')",
    )
    retry_s: Annotated[float, Field(ge=0.001, le=3600, allow_inf_nan=False)] = Field(
        1.0, description="how long a tripped supply stays off before it tries again"
    )


class FeedSection(_WirePair):
    """A place where power enters a strip, and the wire that brings it."""

    line: Number = Field(0, description="line the feed goes to, from 0")
    led: Number = Field(description="LED on that line where you solder it, from 0")
    supply: Number = Field(0, description="number of the supply, from 0")
    length_m: Metres | None = Field(
        None,
        description="wire from the bus (or the supply), one way; default: its way on the board, 0.1"
        " without a bus if supplies_mm is not given",
    )
    connector_mohm: Milliohms = Field(5.0, description="connectors in each conductor, together")
    bus_m: Metres | None = Field(
        None, description="bus from the feed listed before, one way; default: between_m of the bus"
    )


class BusSection(_WirePair):
    """A shared wire along which the feeds of one supply branch, in the order listed."""

    default_awg: ClassVar[int] = 10
    supply: Number = Field(0, description="number of the supply where it starts, from 0")
    to_first_m: Metres | None = Field(
        None,
        description="wire from the supply to the first feed, one way; default: its way on the board"
        " if supplies_mm is given, else 0.5",
    )
    between_m: Metres | None = Field(
        None, description="wire from feed to feed; default: along the sides of the wall"
    )


class JumperSection(_WirePair):
    """The wire that carries power from each run of a line to the next."""

    length_m: Metres | None = Field(
        None, description="length, one way; default: of each its way on the board"
    )
    connector_mohm: Milliohms = Field(0.0, description="connectors in each conductor, together")


class PowerSection(Section):
    """Where power comes from and how it gets to the LEDs."""

    supply: list[SupplySection] = Field(
        [], description="the supplies; default: one for the whole display"
    )
    feed: list[FeedSection] = Field(
        [], description="the feeds; default: one at the end of every run on one side, along a bus"
    )
    bus: list[BusSection] = Field(
        [], description="one bus a supply; listed feeds without a bus go straight to their supply"
    )
    jumper: JumperSection | None = Field(
        None, description="wire from run to run; without it power does not pass from run to run"
    )
    limit_a: Amps | None = Field(
        None, description="largest current that your code may draw; default: no limit"
    )
    rail_ohm_per_m: Annotated[float, Field(gt=0, le=1000, allow_inf_nan=False)] = Field(
        FOIL_OHM_PER_M,
        description="each conductor of the strip at 20 °C; default: copper foil of 70 µm × 2.5 mm",
    )
    copper_c: Annotated[float, Field(ge=-40, le=105, allow_inf_nan=False)] = Field(
        20.0, description="temperature of wires and strips, in °C"
    )
    hours_a_day: Annotated[float, Field(ge=0, le=24, allow_inf_nan=False)] = Field(
        10.0, description="opening hours"
    )
    price_per_kwh: Annotated[float, Field(ge=0, le=100, allow_inf_nan=False)] = Field(
        0.30, description="price of a kilowatt-hour in your currency"
    )
