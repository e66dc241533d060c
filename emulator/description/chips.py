"""The chip catalogue: what each LED chip expects on its data line, with a source for each figure.

To add a part, write one entry in `CHIPS`, or an entry point in another package. Times are integer
nanoseconds. A tolerance is (least, nominal, most). foreglow sends the nominal value when it acts as
the controller. If a datasheet gives only a range, the nominal value is inside it, and a bit takes
the 1.25 µs of an 800 kbit/s line.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from emulator.registry import Registry


class Span(NamedTuple):
    """A tolerance in nanoseconds: least and most the chip accepts, and the nominal value."""

    least: int
    nominal: int
    most: int


def _around(nominal: int, plus_minus: int = 150) -> Span:
    return Span(nominal - plus_minus, nominal, nominal + plus_minus)


@dataclass(frozen=True)
class OneWire:
    """Timing of a one-wire chip: the time that the line stays high tells a 0 from a 1.

    The line must rest low for `reset_ns` before the next frame. One chip delays the data for the
    next chip by at most `pass_on_ns` (WS2812B datasheet: transmission delay, at most 300 ns; used
    for all one-wire parts).
    """

    t0h: Span
    t0l: Span
    t1h: Span
    t1l: Span
    reset_ns: int
    pass_on_ns: int = 300

    @property
    def threshold_ns(self) -> int:
        """High time from which a pulse counts as a 1: midway between the two tolerances.

        The datasheets do not state the chip's own threshold; midway is an assumption.
        """
        return (self.t0h.most + self.t1h.least) // 2

    @property
    def bit_ns(self) -> tuple[int, int]:
        """Nominal length of a 0 and of a 1."""
        return self.t0h.nominal + self.t0l.nominal, self.t1h.nominal + self.t1l.nominal


@dataclass(frozen=True)
class Clocked:
    """Timing of a chip with a clock line: data is taken on the rising clock edge.

    `latch` says how a frame ends: 'end frame' (extra clock edges carry the data down the
    chain), 'rest' (the clock rests low for `rest_ns`) or 'zero bytes' (one for every 32 LEDs;
    the bytes of LEDs have 7 bits of level below a high bit). `most_hz` is the fastest clock.
    """

    latch: Literal["end frame", "rest", "zero bytes"]
    most_hz: int
    rest_ns: int = 0


@dataclass(frozen=True)
class Chip:
    """One addressable LED chip.

    order: channel letters as they travel on the wire, R G B W, and I for a common 5-bit
    intensity sent in a byte of its own. volts: nominal supply. channel_ma: current of one
    channel at full drive. dark_ma: current when all channels are dark. forward_v: forward
    voltage of the R, G, B and W channel. dropout_v: what a channel's current sink needs in addition
    to hold its current. wavelength_nm, width_nm, intensity_mcd: dominant wavelength, width at half
    height and luminous intensity on the axis of the R, G and B channel at full drive.
    white_mcd, white_k: luminous intensity and correlated colour temperature of the W channel.
    half_angle_deg: where the intensity has fallen to one half, for all channels.
    emitter_mm: side of the evenly bright square that the light comes from; 0 is a point.
    in_series: LEDs in series on each channel. They share its current and show the same: a group of
    LEDs, in one cell, with one address. What is said above of light and forward voltage is of one
    of them.
    sources: figure → its source.
    """

    part: str
    order: str
    wire: OneWire | Clocked
    volts: float = 5.0
    channel_ma: float = 20.0
    dark_ma: float = 1.0
    forward_v: tuple[float, float, float, float] = (2.1, 3.2, 3.2, 3.2)
    dropout_v: float = 0.4
    wavelength_nm: tuple[float, float, float] = (622.5, 523.5, 466.0)
    width_nm: tuple[float, float, float] = (18.0, 35.0, 25.0)
    intensity_mcd: tuple[float, float, float] = (405.0, 690.0, 190.0)
    white_mcd: float = 1900.0
    white_k: float = 4250.0
    half_angle_deg: float = 60.0
    emitter_mm: float = 3.5
    in_series: int = 1
    sources: Mapping[str, str] = field(default_factory=dict, compare=False)

    @cached_property
    def channels(self) -> str:
        """Channel letters in the order of a drives array: R G B, then W or I."""
        return "".join(letter for letter in "RGBWI" if letter in self.order)

    @cached_property
    def channel_forward_v(self) -> tuple[float, ...]:
        """Forward voltage of each light-giving channel, in the order of a drives array.

        Of all LEDs in series on it.
        """
        lit = self.channels.replace("I", "")
        return tuple(self.in_series * self.forward_v["RGBW".index(c)] for c in lit)

    @property
    def bytes_per_led(self) -> int:
        """Bytes that one LED takes of the wire."""
        return len(self.order)

    @property
    def bits_per_led(self) -> int:
        """Bits that one LED takes of the wire."""
        return 8 * len(self.order)

    @cached_property
    def to_wire(self) -> NDArray[np.intp]:
        """Index (C,) that puts drives (…, C) into wire order: `drives[..., chip.to_wire]`."""
        return np.array([self.channels.index(letter) for letter in self.order])

    @cached_property
    def from_wire(self) -> NDArray[np.intp]:
        """Index (C,) that puts wire bytes (…, C) into drives order."""
        return np.array([self.order.index(letter) for letter in self.channels])


_PRACTICE = "common practice, no source"
_WS2812B_LIGHT = "WS2812B datasheet, Worldsemi: middle of the range"
_LIKE_WS2812B = "assumption, no source: as the WS2812B, a 5050 package of the same kind"
_CURRENT = {
    "volts": _PRACTICE,
    "channel_ma": _PRACTICE,
    "dark_ma": _PRACTICE,
    "forward_v": "WS2812B datasheet, Worldsemi: middle of 2.0–2.2 V red, 3.0–3.4 V green and blue;"
    " white as blue, since it is a blue LED under phosphor (common practice, no source)",
    "dropout_v": "assumption, no source: a few tenths of a volt for an integrated current sink",
    "in_series": "common practice, no source: one LED on each channel, unless a strip has more",
    "wavelength_nm": _LIKE_WS2812B,
    "width_nm": "common practice, no source: full width at half maximum of such LEDs",
    "intensity_mcd": _LIKE_WS2812B,
    "white_mcd": "common practice, no source: 18 lm from three white dies of a 5050 package at"
    " 20 mA each; 6 lm a die is 6/π cd from a Lambertian emitter",
    "white_k": "SK6812RGBW datasheet, from memory: middle of 4000–4500 K, its natural white; also"
    " sold as warm and as cool white",
    "half_angle_deg": "common practice, no source: 120° in all, a Lambertian emitter",
    "emitter_mm": "assumption, no source: a square as large as the round window, some 4 mm across,"
    " of a 5050 package; which part of it shines how much is in no datasheet we know of",
}

_OF_ANY_LED = "assumption, no source: the part drives LEDs of any package; as a 5050 has it"


def _source(timing: str, **other: str) -> Mapping[str, str]:
    return {"order": timing, "wire": timing, **_CURRENT, **other}


_SK6812_TIMING = OneWire(_around(300), _around(900), _around(600), _around(600), 80_000)
_V5_TIMING = OneWire(
    Span(220, 300, 380), Span(580, 950, 1000), Span(580, 850, 1000), Span(220, 400, 420), 280_000
)
_WS2811_LOW = OneWire(_around(500), _around(2000), _around(1200), _around(1300), 50_000)
_WS2811_HIGH = OneWire(_around(250), _around(1000), _around(600), _around(650), 50_000)
_APA102 = Clocked(latch="end frame", most_hz=20_000_000)

CHIPS: Mapping[str, Chip] = {
    chip.part: chip
    for chip in (
        Chip(
            "WS2812B",
            "GRB",
            OneWire(_around(400), _around(850), _around(800), _around(450), 50_000),
            sources=_source(
                "WS2812B datasheet, Worldsemi: data transfer time, ±150 ns",
                wavelength_nm=f"{_WS2812B_LIGHT} of 620–625, 522–525 and 465–467 nm",
                intensity_mcd=f"{_WS2812B_LIGHT} of 390–420, 660–720 and 180–200 mcd",
            ),
        ),
        Chip(
            "WS2812B-V5",
            "GRB",
            _V5_TIMING,
            sources=_source("WS2812B-V5 datasheet, Worldsemi (from memory)"),
        ),
        Chip(
            "WS2813B",
            "GRB",
            OneWire(
                Span(300, 400, 450),
                Span(300, 850, 100_000),
                Span(750, 800, 1000),
                Span(300, 450, 100_000),
                300_000,
            ),
            channel_ma=18.0,
            dark_ma=0.6,
            sources=_source(
                "WS2813 datasheet, Worldsemi",
                channel_ma="WS2813 datasheet, Worldsemi: type A/B, 18 mA a channel",
                dark_ma="WS2813 datasheet, Worldsemi: 0.6 mA quiescent",
            ),
        ),
        Chip("SK6812", "GRB", _SK6812_TIMING, sources=_source("SK6812 datasheet, Rev. 01")),
        Chip("SK6812-RGBW", "GRBW", _SK6812_TIMING, sources=_source("SK6812RGBW datasheet")),
        Chip(
            "WS2811-LOW",
            "RGB",
            _WS2811_LOW,
            sources=_source(
                "WS2811 datasheet, Worldsemi: low-speed mode (from memory)",
                emitter_mm=_OF_ANY_LED,
            ),
        ),
        Chip(
            "WS2811-HIGH",
            "RGB",
            _WS2811_HIGH,
            sources=_source(
                "WS2811 datasheet, Worldsemi: high-speed mode halves the times (from memory)",
                emitter_mm=_OF_ANY_LED,
            ),
        ),
        Chip(
            "WS2815",
            "GRB",
            _V5_TIMING,
            volts=12.0,
            forward_v=(6.3, 9.6, 9.6, 9.6),
            sources=_source(
                "WS2815 datasheet, Worldsemi (from memory)",
                volts="WS2815 datasheet, Worldsemi (from memory)",
                forward_v="assumption, no source: three LEDs in series a channel",
                in_series="assumption, no source: the three in series sit in one package, as one",
            ),
        ),
        Chip(
            "APA102",
            "IBGR",
            _APA102,
            sources=_source("APA102 datasheet: frame layout; fastest clock from memory"),
        ),
        Chip(
            "SK9822",
            "IBGR",
            _APA102,
            sources=_source("SK9822 datasheet: frame layout; fastest clock from memory"),
        ),
        Chip(
            "WS2801",
            "RGB",
            Clocked(latch="rest", most_hz=25_000_000, rest_ns=500_000),
            sources=_source(
                "WS2801 datasheet, Worldsemi; fastest clock from memory", emitter_mm=_OF_ANY_LED
            ),
        ),
        Chip(
            "LPD8806",
            "GRB",
            Clocked(latch="zero bytes", most_hz=20_000_000),
            sources=_source(
                "LPD8806 datasheet (from memory): 7 bits below a high bit, a zero byte latches 32"
                " LEDs, fastest clock; green first is common practice, no source",
                emitter_mm=_OF_ANY_LED,
            ),
        ),
    )
}
"""The chips foreglow knows by itself, by part; each names the datasheet its figures are from."""


_chips = Registry[Chip](
    "chip", CHIPS, lambda thing: isinstance(thing, Chip), "an emulator.Chip", key=str.upper
)


def chip(part: str) -> Chip:
    """The entry for a part in the catalogue or in another package; case does not matter.

    Raises UnknownNameError with the known parts, and ForeglowError if a package's entry is broken.
    """
    return _chips[part]


def all_chips() -> list[Chip]:
    """All chips of the catalogue and of other packages. Raises ForeglowError for a broken entry."""
    return [_chips[part] for part in _chips.names()]
