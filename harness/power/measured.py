"""From the current of a piece of strip to the figures of its chip.

You measure a metre of strip: so many LEDs take so many amperes at full white, in one colour, or
dark. This module finds the figures with which the emulated strip, fed and lit like that, takes the
measured current. With little voltage drop, this is the sum of constant currents. With much drop,
the far LEDs take less; the solver calculates how much.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emulator.description.chips import Chip
from emulator.description.display import Display
from emulator.description.power import FeedSection, PowerSection, SupplySection
from emulator.description.sections import MOST_COLUMNS, Grid
from emulator.description.wiring import shorthand
from emulator.errors import OutOfRangeError
from emulator.power.network import build_network
from emulator.power.solve import solve_rails

_COLOURS = {
    "white": "RGBW", "rgb": "RGB", "red": "R", "green": "G", "blue": "B", "w": "W", "dark": "",
    "off": "",
}  # fmt: skip
_NUMBER = r"(\d+(?:[.,]\d+)?)"
_HOW = 'write it like "60 LEDs 2.9 A", "60 LEDs 0.06 A dark" or "60 LEDs 0.9 A red 4.9 V"'
_MOST_MA = 1000.0  # for a channel, as in [chip]
_DIGITS = 5  # more than a meter shows
_MOST_STARVED = 2.0  # times the sum of constant currents: beyond, it proves little. Ours.


@dataclass(frozen=True)
class Measurement:
    """`leds` LEDs in one piece took `amps`; colour: white (every channel), rgb, red, green, blue,
    w or dark, at full drive; volts: at the fed end, None for the chip's own."""

    leds: int
    amps: float
    colour: str = "white"
    volts: float | None = None


@dataclass(frozen=True)
class Measured:
    """figures: keys of [chip] with their values. taken_a: A that the emulated strip then takes for
    each measurement. assumed: the assumptions, in words."""

    figures: dict[str, float]
    measurements: tuple[Measurement, ...]
    taken_a: tuple[float, ...]
    assumed: tuple[str, ...]


def read_measurement(text: str) -> Measurement:
    """The measurement in words such as '60 LEDs 2.9 A'. Raises OutOfRangeError."""
    rest = text.lower()

    def take(pattern: str) -> re.Match[str] | None:
        nonlocal rest
        found = re.search(pattern, rest)
        if found:
            rest = f"{rest[: found.start()]} {rest[found.end() :]}"
        return found

    leds = take(r"\b(\d+)\s*leds?\b")
    amps = take(rf"{_NUMBER}\s*(ma|a)\b")
    volts = take(rf"{_NUMBER}\s*v\b")
    colour = take(rf"\b({'|'.join(_COLOURS)})\b")
    left = set(re.findall(r"[^\s,;:]+", rest)) - {"at", "full", "all", "take", "took", "and"}
    if not leds or not amps or left:
        said = f"'{sorted(left)[0]}' is not understood" if left else "LEDs or amperes are missing"
        raise _error(f"the measurement '{text}': {said}", _HOW)
    current_a = _number(amps.group(1)) * (1e-3 if amps.group(2) == "ma" else 1.0)
    count = int(leds.group(1))
    volts_v = _number(volts.group(1)) if volts else None
    if not (1 <= count <= MOST_COLUMNS and 0 < current_a <= 10_000 and volts_v != 0):
        limits = f"1 to {MOST_COLUMNS} LEDs, and more than 0 A and 0 V"
        raise _error(f"the measurement '{text}' is out of range", f"give {limits}")
    name = colour.group(1) if colour else "white"
    return Measurement(count, current_a, "dark" if name == "off" else name, volts_v)


def measured_figures(display: Display, measurements: Sequence[Measurement]) -> Measured:
    """The figures of the display's chip that reproduce what was measured.

    The current of a channel is that of the measurement in white, or the mean of those in single
    colours. Raises OutOfRangeError if no figure does.
    """
    chip = display.chip
    dark = [m for m in measurements if m.colour == "dark"]
    lit = [m for m in measurements if m.colour != "dark"]
    white = [m for m in lit if m.colour == "white"]
    figures: dict[str, float] = {}
    assumed = [
        f"strip of {display.grid.pitch_mm:g} mm pitch in one piece, fed at one end at"
        f" {_volts_words(measurements, chip)}; its copper {display.power.rail_ohm_per_m:g} Ω/m"
    ]
    if dark:
        figures["dark_ma"] = _rounded(float(np.mean([1000 * m.amps / m.leds for m in dark])))
        chip = dataclasses.replace(chip, dark_ma=figures["dark_ma"])
    else:
        source = chip.sources.get("dark_ma", "catalogue")
        assumed.append(
            f"{chip.dark_ma:g} mA an LED in the dark ({source}); measure it, too:"
            f' --measured "{measurements[0].leds} LEDs … A dark"'
        )
    if lit:
        chosen = [_channel_ma(display, chip, m) for m in (white or lit)]
        figures["channel_ma"] = _rounded(float(np.mean(chosen)))
        chip = dataclasses.replace(chip, channel_ma=figures["channel_ma"])
        channels = chip.channels.replace("I", "")
        if white:
            assumed.append(f"white is {', '.join(channels)} at full drive, with equal currents")
        else:
            assumed.append("the other channels take as much as the one measured")
    taken = tuple(_taken_a(display, chip, m) for m in measurements)
    return Measured(figures, tuple(measurements), taken, tuple(assumed))


def _channel_ma(display: Display, chip: Chip, m: Measurement) -> float:
    """Current of a channel with which the strip takes the measured current, by bisection.

    Starved LEDs cannot mislead it: more current never makes the strip take less."""
    lit = len(set(_COLOURS[m.colour]) & set(chip.channels))
    if not lit:
        raise _error(f"{chip.part} has no channel {m.colour}", "name a colour that it has")
    least = (1000 * m.amps / m.leds - chip.dark_ma) / lit
    if least <= 0:
        raise _error(
            f"{m.leds} LEDs in {m.colour} took {m.amps:g} A, no more than their"
            f" {chip.dark_ma:g} mA each in the dark",
            "measure the dark current, too, or check the amperes",
        )

    def taken_a(channel_ma: float) -> float:
        return _taken_a(display, dataclasses.replace(chip, channel_ma=channel_ma), m)

    if abs(taken_a(least) - m.amps) <= 1e-5 * m.amps:
        return least
    low, high = least, _MOST_STARVED * least
    if least > _MOST_MA or taken_a(high) < m.amps:
        raise _error(
            f"{m.leds} LEDs in one piece fed at one end can hardly take {m.amps:g} A: the far ones"
            " would starve, and the current would say little about the chip",
            "measure a shorter piece, or give rail_ohm_per_m of your strip in [power]",
        )
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if taken_a(middle) < m.amps else (low, middle)
    return high


def _taken_a(display: Display, chip: Chip, m: Measurement) -> float:
    """What the emulated strip takes."""
    gap = np.zeros((1, m.leds), dtype=bool)
    feed = FeedSection(led=0, mm2=100.0, length_m=0.001, connector_mohm=0.0)
    own = display.power
    strip = dataclasses.replace(
        display,
        chip=chip,
        grid=Grid(columns=m.leds, rows=1, pitch_mm=display.grid.pitch_mm),
        wiring=shorthand(gap),
        power=PowerSection(
            supply=[SupplySection(volts=m.volts or chip.volts, amps=10_000.0)],
            feed=[feed],
            rail_ohm_per_m=own.rail_ohm_per_m,
            copper_c=own.copper_c,
        ),
    )
    drives = _drives(chip, m)
    return float(solve_rails(build_network(strip), drives, chip, np.inf).total_current_a[0])


def _drives(chip: Chip, m: Measurement) -> NDArray[np.uint8]:
    channels = [255 * (c in _COLOURS[m.colour]) for c in chip.channels]
    if "I" in chip.channels:
        channels[chip.channels.index("I")] = 31
    return np.tile(np.array(channels, dtype=np.uint8), (1, m.leds, 1))


def _volts_words(measurements: Sequence[Measurement], chip: Chip) -> str:
    volts = sorted({m.volts or chip.volts for m in measurements})
    return " and ".join(f"{v:g} V" for v in volts)


def _error(message: str, fix: str) -> OutOfRangeError:
    return OutOfRangeError(f"{message}", fix=f"{fix}.")


def _number(text: str) -> float:
    return float(text.replace(",", "."))


def _rounded(value: float) -> float:
    return float(f"{value:.{_DIGITS}g}")
