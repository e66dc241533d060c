"""`foreglow power`: currents, supplies, voltages, wires, energy, and what to change."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import Annotated, Optional

import typer

from harness.cli.options import (
    ChartFile,
    DisplayName,
    Json,
    chart_file,
    chosen_source,
    exit_status,
)
from harness.cli.options import seconds as seconds_of
from harness.report.terminal import say, terminal

_SECONDS = 60.0  # that a scene is followed, unless the user says otherwise


def power(
    display: DisplayName,
    scene: Annotated[
        Optional[str],  # noqa: UP045
        typer.Argument(help="To follow in time too: a scene, pattern or file, as view takes it."),
    ] = None,
    seconds: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(help="For how long to follow a scene: 120, 2min.", show_default="60"),
    ] = None,
    plan: Annotated[
        Optional[float],  # noqa: UP045
        typer.Option(help="Propose feeds and gauges that keep every LED at this voltage."),
    ] = None,
    level: Annotated[
        Optional[float],  # noqa: UP045
        typer.Option(
            help="The load to plan for: drive of every channel, 0 to 1; by default the most that"
            " the limit allows."
        ),
    ] = None,
    plot: ChartFile = None,
    as_json: Json = False,
) -> None:
    """Tell what the display draws, what its supplies and wires bear, and what would help.

    A scene that is named is followed in time as well. Guidance only: see the caution it prints.
    """
    from emulator.description.load import load_display
    from emulator.files import write_whole
    from emulator.power.plan import plan_power
    from harness.assess import assess, follow, follow_scenes, power_findings, suggest
    from harness.report.powerplot import power_plot

    shown = load_display(display)
    if seconds is not None and scene is None:
        raise typer.BadParameter("--seconds goes with a scene to follow")
    if level is not None and plan is None:
        raise typer.BadParameter("--level goes with --plan")
    target = chart_file(plot, f"{shown.name}-power")
    lasts_s = _SECONDS if seconds is None else seconds_of(seconds)
    asked = []
    if scene is not None:
        with chosen_source(shown, scene) as (name, source):
            asked.append(follow(shown, name, source, lasts_s))
    scenes = follow_scenes(shown)
    assessment = assess(shown, scenes)
    planned = None if plan is None else plan_power(shown, plan, level)
    findings = power_findings(shown, assessment)
    suggestions = suggest(shown, assessment)
    status = 1 if planned is not None and not planned.possible else exit_status(findings)
    write_whole(target, power_plot(shown, assessment, asked or scenes, target.suffix[1:]))
    if as_json:
        from harness.report.powerplan import plan_json

        result = {
            **assessment.to_json(),
            "verdict": "fail" if status else "pass",
            "findings": [asdict(f) for f in findings],
            "suggestions": [asdict(s) for s in suggestions],
            "scenes": [course.to_json() for course in scenes],
            "followed": [course.to_json() for course in asked],
            "plan": plan_json(planned) if planned else None,
        }
        say(json.dumps(result, indent=2))
    else:
        from harness.report.power import print_power

        console = terminal()
        print_power(shown, assessment, findings, suggestions, asked, planned, console)
        console.print(f"Chart: {target}")
    raise typer.Exit(status)
