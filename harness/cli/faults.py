"""`foreglow faults`: the faults that a built wall may have, and how each looks."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from harness.cli.options import Force, Json, result_file, wall_of, write_png
from harness.report.terminal import complain, say, terminal

if TYPE_CHECKING:
    from emulator.description.display import Display
    from emulator.description.faults.fault import Fault


def faults(
    kind: Annotated[
        str | None, typer.Argument(help="A kind of fault, in detail; without it, all in a table.")
    ] = None,
    picture: Annotated[
        bool,
        typer.Option("--picture", help="Draw the kind, or each: the wall as planned and as built."),
    ] = False,
    display: Annotated[
        str | None,
        typer.Option(
            "--display",
            help="With --picture: the wall to draw, a display file or a demo.",
            show_default="foyer",
        ),
    ] = None,
    output: Annotated[
        Path | None,
        typer.Option("--output", "-o", help="The PNG of one kind.", show_default="foreglow-out/"),
    ] = None,
    force: Force = False,
    as_json: Json = False,
) -> None:
    """List faults of a built wall: how each looks, what looks the same, what to measure.

    Try each on your wall with --fault of view, render, record, run, listen, check and soak, or
    write it into the display file as a [[fault]] table if your wall was built like that.
    """
    from emulator.description.faults.kinds import KINDS
    from emulator.errors import UnknownNameError
    from harness.report.faults import kind_json, print_kind, print_kinds

    if kind is not None and kind not in KINDS:
        raise UnknownNameError("kind of fault", kind, KINDS)
    if output is not None and (kind is None or not picture):
        raise typer.BadParameter("--output needs one kind and --picture")
    if display is not None and not picture:
        raise typer.BadParameter("--display goes with --picture")
    chosen = [KINDS[kind]] if kind is not None else [*KINDS.values()]
    wall = wall_of(display or "foyer", None) if picture else None
    if as_json:
        say(json.dumps([kind_json(one) for one in chosen], indent=2, ensure_ascii=False))
    elif kind is None:
        print_kinds(terminal())
    else:
        print_kind(terminal(), KINDS[kind])
    if wall is not None:
        for one in chosen:
            _draw(one, wall, output, force, quiet=as_json)


def _draw(
    kind: type[Fault], display: Display, output: Path | None, force: bool, quiet: bool
) -> None:
    from harness.report.faults import example, fault_sheet

    fault = example(kind, display)
    if fault is None:
        complain(f"{display.name} has no place for {kind.name}.")
        return
    name = f"{display.name}-fault-{kind.name}.png"
    target = result_file(output, name, display, force, (".png",))
    write_png(fault_sheet(display, fault), target)
    if not quiet:
        say(f"Picture: {target}: {fault}")
