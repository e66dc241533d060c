"""`foreglow cut`: the parts in front of the LEDs, for a laser cutter."""

from __future__ import annotations

import json
import math
import re
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from harness.cli.options import DisplayName, Json
from harness.report.terminal import as_text, say, terminal

if TYPE_CHECKING:
    from harness.cut.settings import Line, Operation


def cut(
    display: DisplayName,
    output: Annotated[Path, typer.Option("--output", "-o", help="The folder; it must not exist.")],
    bed: Annotated[str, typer.Option(help="What the cutter reaches, in mm.")] = "600x400",
    kerf: Annotated[
        float, typer.Option(min=0, max=5, help="Width in mm of what the beam takes away.")
    ] = 0.15,
    fit: Annotated[
        float,
        typer.Option(min=-1, max=5, help="What slots are wider than the slats, in mm."),
    ] = 0.0,
    thickness: Annotated[
        float | None,
        typer.Option(
            min=0.1,
            max=100,
            help="Of the slats, in mm.",
            show_default="pitch - opening_mm of [cover], else 2",
        ),
    ] = None,
    strip: Annotated[
        str, typer.Option(help="Notch for the LED strip, width x height in mm; 0x0: none.")
    ] = "12x2",
    line: Annotated[
        list[str] | None,
        typer.Option(
            "--line",
            help="Line of an operation, as cut=LAYER:COLOUR; operations: engrave, inside, cut."
            " COLOUR: red, yellow, green, cyan, blue, magenta, black, or 1 to 255 (AutoCAD Color"
            " Index). May be repeated.",
        ),
    ] = None,
    as_json: Json = False,
) -> None:
    """Write the slats between the cells and the front as DXF and SVG for a laser cutter.

    Slats cross in half-lap slots at the walls of the cells. Parts that do not fit the bed are split
    at walls, into as few different ones as can be. It needs ezdxf: the extra 'cut'.
    """
    from emulator.description.load import load_display
    from harness.cut.dxf import check_ezdxf
    from harness.cut.plan import make_plan
    from harness.cut.settings import Settings
    from harness.cut.writing import parts_json, write_parts
    from harness.report.cut import print_cut

    for name, value in (("--kerf", kerf), ("--fit", fit), ("--thickness", thickness)):
        # Older versions of click let nan through.
        if value is not None and not math.isfinite(value):
            raise typer.BadParameter(f"{name} {value} is not a length; give millimetres")
    lines = dict(Settings().lines)
    for asked in line or ():
        operation, chosen = _line(asked)
        lines[operation] = chosen
    if len({(one.layer, one.colour) for one in lines.values()}) < len(lines):
        raise typer.BadParameter(
            "two operations have the same layer and colour, so no cutter could do one before the"
            " other: give each --line a layer or a colour of its own"
        )
    settings = Settings(
        bed=_size(bed, "--bed", least=1),
        kerf=kerf,
        fit=fit,
        thickness=thickness,
        strip=_size(strip, "--strip", least=0),
        lines=lines,
    )
    check_ezdxf()
    plan = make_plan(load_display(display), settings)
    console, listed = as_text(100)
    print_cut(plan, console)
    write_parts(plan, output, listed.getvalue())
    if as_json:
        say(json.dumps(parts_json(plan), indent=2, ensure_ascii=False))
        return
    print_cut(plan, terminal())
    say(f"Wrote {output}")


def _size(text: str, option: str, least: float) -> tuple[float, float]:
    """Width and height of '300x200'; a usage error for anything else."""
    match = re.fullmatch(r"\s*(\d{1,5}(?:\.\d{1,3})?)\s*[x×]\s*(\d{1,5}(?:\.\d{1,3})?)\s*", text)
    if match is None or min(float(match[1]), float(match[2])) < least:
        raise typer.BadParameter(f"'{text}' is not a size in mm; write {option} 300x200")
    return float(match[1]), float(match[2])


def _line(text: str) -> tuple[Operation, Line]:
    """The operation and its line, of 'cut=CUT:red'; a usage error for anything else."""
    from harness.cut.settings import COLOURS, OPERATIONS, Line

    match = re.fullmatch(r"(\w+)=([\w -]{1,60}):(\w+)", text, re.ASCII)
    operation = next((one for one in OPERATIONS if match and one == match[1]), None)
    if match is None or operation is None:
        raise typer.BadParameter(
            f"'{text}' is not a line; write --line cut=LAYER:red, with engrave, inside or cut, and"
            " a layer of letters, digits, - and _"
        )
    colour = COLOURS.get(match[3].lower(), int(match[3]) if match[3].isdecimal() else 0)
    if not 1 <= colour <= 255:
        raise typer.BadParameter(
            f"'{match[3]}' is not a colour; give 1 to 255, or one of {', '.join(COLOURS)}"
        )
    return operation, Line(match[2], colour)
