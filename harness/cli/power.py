"""`foreglow power`: currents, supplies, voltages, wires, energy, and what to change."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import Annotated, Optional

import typer

from harness.cli.options import (
    RESULTS,
    DisplayName,
    Json,
    PatternName,
    SceneName,
    chosen_source,
    exit_status,
)


def power(
    display: DisplayName,
    pattern: PatternName = None,
    scene: SceneName = None,
    seconds: Annotated[
        Optional[float],  # noqa: UP045
        typer.Option(help="How long to follow the scene or pattern; 60 by default."),
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
    plot: Annotated[
        Optional[Path],  # noqa: UP045
        typer.Option(help="Where the plot goes, .png or .svg.", show_default="foreglow-out/"),
    ] = None,
    as_json: Json = False,
) -> None:
    """Tell what the display draws, what its supplies and wires bear, and what would help.

    With --scene or --pattern, that is followed in time as well. Guidance only: see the caution
    it prints.
    """
    from emulator.description.load import load_display
    from emulator.files import write_whole
    from emulator.power.plan import plan_power
    from harness.assess import assess, follow, follow_scenes, power_findings, suggest
    from harness.report.powerplot import power_plot

    shown = load_display(display)
    if seconds is not None and pattern is None and scene is None:
        raise typer.BadParameter("--seconds goes with --scene or --pattern")
    if level is not None and plan is None:
        raise typer.BadParameter("--level goes with --plan")
    if plot is not None and plot.suffix not in (".png", ".svg"):
        raise typer.BadParameter(f"{plot} is no plot; end its name in .png or .svg")
    asked = []
    if pattern is not None or scene is not None:
        name, source = chosen_source(shown, pattern, scene)
        asked.append(follow(shown, name, source, 60.0 if seconds is None else seconds))
    scenes = follow_scenes(shown)
    assessment = assess(shown, scenes)
    planned = None if plan is None else plan_power(shown, plan, level)
    findings = power_findings(shown, assessment)
    suggestions = suggest(shown, assessment)
    status = 1 if planned is not None and not planned.possible else exit_status(findings)
    target = plot or RESULTS / f"{shown.name}-power.png"
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
        print(json.dumps(result, indent=2))
    else:
        from rich.console import Console

        from harness.report.power import print_power

        console = Console()
        print_power(shown, assessment, findings, suggestions, asked, planned, console)
        console.print(f"Plot: {target}")
    raise typer.Exit(status)
