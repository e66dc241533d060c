"""`foreglow check`: replay the test patterns and explain what is wrong."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Optional

import typer

from harness.cli.options import RESULTS, DisplayName, Json, exit_status, write_png


def check(
    display: DisplayName,
    map: Annotated[
        Optional[Path],  # noqa: UP045
        typer.Option(help="Check this map (CSV with line,led,column,row) against the wiring."),
    ] = None,
    call: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(help="Check this function, module:function, picture → bytes on the wire."),
    ] = None,
    only: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(help="Run only these checks, separated by commas."),
    ] = None,
    sheet: Annotated[
        Optional[Path],  # noqa: UP045
        typer.Option(help="Where the contact sheet goes.", show_default="foreglow-out/"),
    ] = None,
    as_json: Json = False,
) -> None:
    """Replay the test patterns through the emulated hardware and explain what is wrong.

    Without --map or --call, foreglow's own map of the display is checked.
    """
    from emulator.description.load import load_display
    from harness import subject as subjects
    from harness.checks.check import run_checks
    from harness.report.sheet import check_sheet
    from harness.trial import Trial

    shown = load_display(display)
    if map is not None and call is not None:
        raise typer.BadParameter("give --map or --call, not both")
    if map is not None:
        subject = subjects.map_file(map, shown)
    elif call is not None:
        subject = subjects.function(call)
    else:
        subject = subjects.own_code(shown)
    trial = Trial(shown, subject)
    names = tuple(name.strip() for name in only.split(",")) if only else ()
    report = run_checks(trial, names)
    target = sheet or RESULTS / f"{shown.name}-check.png"
    write_png(check_sheet(trial), target)
    if as_json:
        print(json.dumps(report.to_json(), indent=2))
    else:
        from rich.console import Console

        from harness.report.verdict import print_report
        from harness.sources import example_picture

        console = Console()
        print_report(report, shown, *trial.compare(example_picture(shown)), console)
        console.print(f"Contact sheet: {target}")
    raise typer.Exit(exit_status(report.findings))
