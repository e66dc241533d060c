"""What a measured piece of strip says about its chip: in words, as [chip], as data."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from emulator.description.display import Display
from emulator.description.load import display_text
from emulator.description.rewrite import display_at, table_text, with_figures
from harness.power.measured import Measured


def measured_lines(display: Display, found: Measured) -> list[str]:
    """Measurement, assumptions, and the whole [chip] to replace the file's."""
    lines = []
    for m, taken_a in zip(found.measurements, found.taken_a, strict=True):
        off = taken_a / m.amps - 1
        fits = (
            "" if abs(off) < 0.001 else f", {off:+.1%}: the chip has one current for all channels"
        )
        lines.append(
            f"{m.leds} LEDs at full {m.colour}" if m.colour != "dark" else f"{m.leds} LEDs dark"
        )
        lines[-1] += f": {m.amps:g} A measured, {taken_a:.4g} A with the lines below{fits}"
    lines += [f"Assumed: {words}." for words in found.assumed]
    if (each := display.chip.in_series) > 1:
        lines.append(f"Assumed: an LED of the measurement is a group of {each} in series.")
    lines += ["For the display file, instead of its [chip]:", ""]
    return [*lines, table_text("chip", _chip_keys(display, found)).rstrip()]


def measured_text(display: Display, found: Measured, target: Path) -> str:
    """The display file with the new figures, otherwise unchanged. Raises DisplayFileError or
    WriteError."""
    assert display.path is not None  # the command line loads displays from files
    text = with_figures(display_text(display.path), "chip", found.figures, display.path)
    display_at(text, target, display.path)
    return text


def measured_json(display: Display, found: Measured) -> dict[str, Any]:
    """Everything as plain data."""
    return {
        "display": display.name,
        "figures": found.figures,
        "measured": [
            {"leds": m.leds, "colour": m.colour, "amps": m.amps, "by_the_figures_a": taken_a}
            for m, taken_a in zip(found.measurements, found.taken_a, strict=True)
        ],
        "assumed": list(found.assumed),
    }


def _chip_keys(display: Display, found: Measured) -> dict[str, Any]:
    assert display.path is not None
    return {**tomllib.loads(display_text(display.path))["chip"], **found.figures}
