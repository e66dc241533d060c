"""The `[chip]` section: a part of the catalogue, with the figures of your own LEDs."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Annotated, Any

from pydantic import Field

from emulator.description.chips import Chip, OneWire, Span, chip
from emulator.description.places import Loc
from emulator.description.section import Section
from emulator.errors import UnknownNameError

Fault = Callable[[Loc, str, str], None]

Nanoseconds = Annotated[int, Field(ge=1, le=10_000_000)]
Tolerance = Annotated[list[Nanoseconds], Field(min_length=3, max_length=3)]
Volts = Annotated[float, Field(gt=0, le=60, allow_inf_nan=False)]
Wavelength = Annotated[float, Field(ge=400, le=700, allow_inf_nan=False)]
Width = Annotated[float, Field(ge=10, le=200, allow_inf_nan=False)]  # the 5 nm table holds it
Millicandela = Annotated[float, Field(gt=0, le=1e6, allow_inf_nan=False)]

_APART_NM = 20.0  # red from green, green from blue: less is a typing error. Our own limit.

# Figures that are used as they are; the others need a conversion or a check.
_PLAIN = (
    "volts", "channel_ma", "dark_ma", "in_series", "dropout_v", "half_angle_deg", "emitter_mm",
)  # fmt: skip
_OF_RGB = ("wavelength_nm", "width_nm", "intensity_mcd")
_OF_WHITE = ("white_mcd", "white_k")


class ChipSection(Section):
    """A part of the catalogue, and your own figures where your LEDs differ."""

    part: str = Field(description="a part of the catalogue; `foreglow chips` lists them")
    order: str | None = Field(None, description="channel letters as sent on the wire, e.g. 'RGB'")
    t0h_ns: Tolerance | None = Field(None, description="0 bit, high: least, nominal, most")
    t0l_ns: Tolerance | None = Field(None, description="0 bit, low: least, nominal, most")
    t1h_ns: Tolerance | None = Field(None, description="1 bit, high: least, nominal, most")
    t1l_ns: Tolerance | None = Field(None, description="1 bit, low: least, nominal, most")
    reset_us: Annotated[float, Field(gt=0, le=1e6)] | None = Field(
        None, description="how long the line rests low before the next frame"
    )
    volts: Volts | None = Field(None, description="nominal supply")
    channel_ma: Annotated[float, Field(gt=0, le=1000, allow_inf_nan=False)] | None = Field(
        None,
        description="current of one channel at full drive; `foreglow power --measured` calculates"
        " it from a piece of strip",
    )
    dark_ma: Annotated[float, Field(ge=0, le=100, allow_inf_nan=False)] | None = Field(
        None, description="current of one dark LED"
    )
    in_series: Annotated[int, Field(ge=1, le=24)] | None = Field(
        None,
        description="LEDs in series on each channel, as three on most 12 V strips: one chip drives"
        " the group, it shows one colour in one cell, and counts as one LED. Light and forward_v"
        " are of one LED of it, the pitch is from group to group",
    )
    forward_v: Annotated[list[Volts], Field(min_length=3, max_length=4)] | None = Field(
        None, description="forward voltage of red, green, blue, and white (as blue if left out)"
    )
    dropout_v: Annotated[float, Field(ge=0.01, le=10, allow_inf_nan=False)] | None = Field(
        None, description="voltage that a channel needs above forward_v to hold its current"
    )
    wavelength_nm: Annotated[list[Wavelength], Field(min_length=3, max_length=3)] | None = Field(
        None, description="dominant wavelength of red, green and blue"
    )
    width_nm: Annotated[list[Width], Field(min_length=3, max_length=3)] | None = Field(
        None, description="width of their spectra at half height"
    )
    intensity_mcd: Annotated[list[Millicandela], Field(min_length=3, max_length=3)] | None = Field(
        None, description="luminous intensity of red, green and blue on the axis at full drive"
    )
    white_mcd: Millicandela | None = Field(
        None, description="luminous intensity of the white channel, for parts with one"
    )
    white_k: Annotated[float, Field(ge=1500, le=20_000, allow_inf_nan=False)] | None = Field(
        None, description="colour temperature of the white channel"
    )
    half_angle_deg: Annotated[float, Field(ge=5, le=85, allow_inf_nan=False)] | None = Field(
        None, description="angle from the axis at which the light falls to one half"
    )
    emitter_mm: Annotated[float, Field(ge=0, le=100, allow_inf_nan=False)] | None = Field(
        None, description="side of the square that the light comes from; 0 is a point"
    )


def own_chip(section: ChipSection, fault: Fault) -> Chip | None:
    """The catalogue's chip with the section's own figures in it, each with its source.

    Calls `fault(loc, message, fix)` for impossible figures; None for an unknown part.
    """
    try:
        found = chip(section.part)
    except UnknownNameError as error:
        fault(("chip", "part"), error.problem, f"use one of {', '.join(error.known)}.")
        return None
    changes: dict[str, Any] = {}
    if section.order is not None:
        changes["order"] = section.order.upper()
        if sorted(section.order.upper()) != sorted(found.order):
            fault(
                ("chip", "order"),
                f"order '{section.order}' does not name the channels of {found.part}",
                f"use the letters {found.order}, each once, as sent on the wire.",
            )
    wire = _own_timing(section, found, fault)
    if wire is not found.wire:
        changes["wire"] = wire
    changes |= _own_figures(section, found, fault)
    own = dict.fromkeys(changes, "the display file")
    return dataclasses.replace(found, **changes, sources={**found.sources, **own})


def _own_figures(section: ChipSection, found: Chip, fault: Fault) -> dict[str, Any]:
    """What the section says about current and light."""
    changes: dict[str, Any] = {
        name: tuple(value) if isinstance(value, list) else value
        for name in (*_PLAIN, *_OF_RGB, *_OF_WHITE)
        if (value := getattr(section, name)) is not None
    }
    for name in _OF_WHITE:
        if name in changes and "W" not in found.order:
            message = f"{found.part} has no white channel, but {name} is for one"
            fault(("chip", name), message, "delete the key, or name a part with a W.")
    red, green, blue = changes.get("wavelength_nm", found.wavelength_nm)
    if not (red >= green + _APART_NM and green >= blue + _APART_NM):
        fault(
            ("chip", "wavelength_nm"),
            f"wavelength_nm = {[red, green, blue]} is not red, green, blue",
            f"give the longest first, at least {_APART_NM:g} nm apart.",
        )
    if section.forward_v is not None:
        if len(section.forward_v) == 4 and "W" not in found.order:
            message = f"forward_v has four voltages, but {found.part} has no white channel"
            fault(("chip", "forward_v"), message, "give three: red, green and blue.")
        changes["forward_v"] = (*section.forward_v, section.forward_v[2])[:4]
    volts = changes.get("volts", found.volts)
    count = changes.get("in_series", found.in_series)
    highest = count * max(changes.get("forward_v", found.forward_v))
    if highest >= volts:
        key = "forward_v" if section.forward_v is not None else "volts"
        group = f" ({count} LEDs in series)" if count > 1 else ""
        fault(
            ("chip", "in_series" if count > 1 else key),
            f"with a forward voltage of {highest:g} V{group} and a supply of {volts:g} V it never"
            " lights",
            "give the forward voltage of one LED, and the volts of the strip."
            if count > 1
            else "give the forward voltage of one channel, and the volts of the strip.",
        )
    return changes


def _own_timing(section: ChipSection, found: Chip, fault: Fault) -> Any:
    spans = {
        name: Span(*value)
        for name in ("t0h", "t0l", "t1h", "t1l")
        if (value := getattr(section, f"{name}_ns")) is not None
    }
    keys = [f"{name}_ns" for name in spans]
    timing: dict[str, Any] = dict(spans)
    if section.reset_us is not None:
        timing["reset_ns"] = round(section.reset_us * 1000)
        keys.append("reset_us")
    if not timing:
        return found.wire
    if not isinstance(found.wire, OneWire):
        message = f"{found.part} has a clock line; {keys[0]} is for one-wire chips"
        fault(("chip", keys[0]), message, "delete the key, or name a one-wire part.")
        return found.wire
    for name, span in spans.items():
        if not span.least <= span.nominal <= span.most:
            message = f"{name}_ns = {list(span)} is not least ≤ nominal ≤ most"
            fault(("chip", f"{name}_ns"), message, "put the three times in order.")
    wire = dataclasses.replace(found.wire, **timing)
    if wire.t0h.most > wire.t1h.least:
        fault(
            ("chip", "t0h_ns" if "t0h" in spans else "t1h_ns"),
            f"a 0 is high for up to {wire.t0h.most} ns and a 1 from {wire.t1h.least} ns on:"
            " the two overlap",
            "make t0h_ns end below the start of t1h_ns.",
        )
    return wire
