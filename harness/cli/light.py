"""`foreglow light`: luminance, uniformity, contrast and letters, before the cover is built."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated

import typer

from harness.cli.options import ChartFile, DisplayName, Force, Json, chart_file
from harness.report.terminal import say, terminal

if TYPE_CHECKING:
    from emulator.description.display import Display
    from emulator.light.look import Look

DISTANCES: Mapping[str, float] = {"m": 1.0, "cm": 0.01, "mm": 0.001, "": 1.0}
LIGHTS: Mapping[str, float] = {"lx": 1.0, "klx": 1000.0, "": 1.0}

Distance = Annotated[
    str | None,
    typer.Option(help="From the eye to the front: 6m; by default as in \\[view]."),
]


def light(
    display: DisplayName,
    distance: Distance = None,
    ambient: Annotated[
        str | None,
        typer.Option(help="Light of the surroundings: 200lx; by default as in \\[view]."),
    ] = None,
    plot: ChartFile = None,
    force: Force = False,
    as_json: Json = False,
) -> None:
    """Report how bright and even the wall is, what light leaks, and from how far letters read.

    The chart shows uniformity and cross-talk against the depth of the cover.
    """
    from emulator.description.load import load_display
    from emulator.files import write_whole
    from harness.light.assessment import assess_light
    from harness.report.light.plot import light_plot

    shown = load_display(display)
    target = chart_file(plot, f"{shown.name}-light", shown, force)
    found = assess_light(shown, quantity(distance, DISTANCES), quantity(ambient, LIGHTS))
    write_whole(target, light_plot(shown, found, target.suffix[1:]))
    if as_json:
        say(json.dumps({"display": shown.name, **asdict(found)}, indent=2))
        return
    from harness.report.light.terminal import print_light

    console = terminal()
    print_light(shown, found, console)
    console.print(f"Chart: {target}")


def quantity(text: str | None, units: Mapping[str, float]) -> float | None:
    """A figure such as 6m or 200lx, in the unit whose factor is 1; None for None.

    A usage error for anything else, and for a length of 0.
    """
    if text is None:
        return None
    match = re.fullmatch(r"\s*(\d+(?:\.\d*)?|\.\d+)\s*([a-z]*)\s*", text)
    if match is None or match.group(2) not in units:
        named = ", ".join(unit for unit in units if unit)
        raise typer.BadParameter(f"'{text}' is not a number with one of the units {named}")
    value = float(match.group(1)) * units[match.group(2)]
    if value > 200_000 or (value == 0 and units is DISTANCES):
        raise typer.BadParameter(f"'{text}' is out of range")
    return value


def labelled_covers(display: Display, asked: str, look: Look) -> list[tuple[str, Display]]:
    """(label, display) for each cover in 'depth=5,10,20'.

    Keys: depth, scatter, opening, off_centre, walls. The label has the value, and how even and
    how bright that cover is. A usage error for anything else.
    """
    from pydantic import ValidationError

    from emulator.description.light import Cover, judge_cover
    from emulator.light.figures import figures
    from emulator.light.front import with_cover

    keys = {f"{name}_mm": name for name in ("depth", "scatter", "opening", "off_centre")}
    keys |= {"walls": "walls"}
    name, equals, listed = asked.partition("=")
    key = next((k for k, short in keys.items() if name.strip() in (k, short)), None)
    values = [value.strip() for value in listed.split(",") if value.strip()]
    if key is None or not equals or not 1 <= len(values) <= 12:
        raise typer.BadParameter(
            f"'{asked}' is not a list of covers; write depth=5,10,20 with up to 12 values, or one"
            f" of {', '.join(keys.values())}"
        )

    def refuse(_: object, message: str, fix: str) -> None:
        raise typer.BadParameter(f"{asked}: {message}: {fix}")

    covers = []
    for value in values:
        try:
            typed = value if key == "walls" else float(value)
        except ValueError:
            raise typer.BadParameter(
                f"{name}={value}: write a number in millimetres, without the unit"
            ) from None
        try:
            cover = Cover.model_validate({**display.cover.model_dump(), key: typed})
        except ValidationError as wrong:
            why = wrong.errors()[0]["msg"]
            raise typer.BadParameter(
                f"{name}={value} is not possible: {why[0].lower()}{why[1:]}"
            ) from None
        judge_cover(cover, display.grid.pitches_mm, display.wiring.along, refuse)
        other = with_cover(display, **cover.model_dump())
        found = figures(other, look.distance_m, look.ambient_lx)
        unit = "" if key == "walls" else " mm"
        # The face of the stills has no raised 2.
        label = f"{keys[key]} {value}{unit}: min/mean {found.min_to_mean:.2f}"
        covers.append((f"{label}, {found.mean_cdm2:.0f} cd/m2", other))
    return covers
