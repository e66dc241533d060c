"""`foreglow power`: currents, supplies, voltages, wires, energy, and what to change."""

from __future__ import annotations

import dataclasses
import json
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from harness.cli.options import (
    ChartFile,
    DisplayName,
    Force,
    HtmlFile,
    Json,
    chart_file,
    chosen_source,
    exit_status,
    html_file,
    write_page,
)
from harness.cli.options import seconds as seconds_of
from harness.report.terminal import say, terminal

if TYPE_CHECKING:
    from emulator.description.display import Display
    from harness.power import Course

_SECONDS = 60.0  # for which a scene is followed by default


def power(
    display: DisplayName,
    scene: Annotated[
        str | None,
        typer.Argument(help="To follow over time: a scene, pattern or file, as for view."),
    ] = None,
    seconds: Annotated[
        str | None,
        typer.Option(help="For how long to follow a scene: 120, 2min.", show_default="60"),
    ] = None,
    plan: Annotated[
        float | None,
        typer.Option(help="Propose feeds and gauges that keep every LED at this voltage."),
    ] = None,
    level: Annotated[
        float | None,
        typer.Option(
            help="The load to plan for: drive of every channel, 0 to 1; by default the most that"
            " the limit allows."
        ),
    ] = None,
    measured: Annotated[
        list[str] | None,
        typer.Option(
            help='What a piece of strip took, as "60 LEDs 2.9 A", "60 LEDs 0.06 A dark" or "60 LEDs'
            ' 0.9 A red": proposes \\[chip] lines that match it. May be repeated.'
        ),
    ] = None,
    write: Annotated[
        Path | None,
        typer.Option(help="Write the display file with the plan, or what was measured, in place."),
    ] = None,
    force: Force = False,
    hours: Annotated[
        float | None,
        typer.Option(min=0, max=24, help="Hours a day; by default the display file's."),
    ] = None,
    price: Annotated[
        float | None,
        typer.Option(min=0, max=100, help="Price of a kWh; by default the display file's."),
    ] = None,
    plot: ChartFile = None,
    html: HtmlFile = None,
    as_json: Json = False,
) -> None:
    """Calculate what the display draws, whether supplies and wires suffice, and what would help.

    With a scene, watts, energy, cost and heat are those of the scene, followed in time. Without
    one, they are those of the demo scenes. Guidance only: read the caution that it prints.
    """
    from emulator.description.load import load_display
    from emulator.files import write_whole
    from emulator.power.plan import plan_power
    from harness.power import assess, follow, follow_scenes, power_findings, suggest
    from harness.report.power.plot import power_plot

    shown = load_display(display)
    if seconds is not None and scene is None:
        raise typer.BadParameter("--seconds needs a scene to follow")
    if level is not None and plan is None:
        raise typer.BadParameter("--level needs --plan")
    if write is not None and plan is None and not measured:
        raise typer.BadParameter("--write needs --plan or --measured")
    if measured:
        if scene is not None or plan is not None:
            raise typer.BadParameter("--measured cannot be combined with a scene or --plan")
        if html is not None:
            raise typer.BadParameter("--measured makes no page: leave out --html")
        _tell_measured(shown, measured, write, force, as_json)
        return
    target = chart_file(plot, f"{shown.name}-power", shown, force)
    page = html_file(html, shown, force)
    lasts_s = _SECONDS if seconds is None else seconds_of(seconds)
    asked: tuple[Course, ...] = ()
    if scene is not None:
        with chosen_source(shown, scene) as (name, source):
            asked = (follow(shown, name, source, lasts_s),)
    courses = asked or follow_scenes(shown)
    assessment = assess(_costed(shown, hours, price), courses)
    planned = None if plan is None else plan_power(shown, plan, level)
    findings = power_findings(shown, assessment)
    suggestions = suggest(shown, assessment, with_plan=planned is None)
    status = 1 if planned is not None and not planned.possible else exit_status(findings)
    written = None
    if planned is not None and planned.possible and write is not None:
        from harness.report.power.plan import planned_file

        written = planned_file(shown, planned, write)
        _write(written, shown, write, force)
    write_whole(target, power_plot(shown, assessment, courses, target.suffix[1:]))
    if as_json:
        from harness.report.power.plan import plan_json

        result = {
            **assessment.to_json(),
            "verdict": "fail" if status else "pass",
            "findings": [f.to_json() for f in findings],
            "suggestions": [asdict(s) for s in suggestions],
            "scenes": [] if asked else [course.to_json() for course in courses],
            "followed": [course.to_json() for course in asked],
            "plan": plan_json(planned) if planned else None,
            "written": str(write) if written else None,
        }
        say(json.dumps(result, indent=2))
    else:
        from harness.report.power.terminal import print_power

        console = terminal()
        print_power(shown, assessment, findings, suggestions, asked, planned, console)
        if written:
            console.print(f"Wrote {write}")
        elif write is not None:
            console.print(f"{write} is not written: no plan was found")
        console.print(f"Chart: {target}")
    if page is not None:
        from harness.report.page.power import power_page

        made = power_page(shown, assessment, findings, suggestions, courses, planned)
        write_page(made, page, as_json)
    raise typer.Exit(status)


def _costed(display: Display, hours: float | None, price: float | None) -> Display:
    """With hours and price of the command line in place of the file's."""
    asked = {"hours_a_day": hours, "price_per_kwh": price}
    changes = {name: value for name, value in asked.items() if value is not None}
    return dataclasses.replace(display, power=display.power.model_copy(update=changes))


def _tell_measured(
    display: Display, texts: list[str], write: Path | None, force: bool, as_json: bool
) -> None:
    from harness.power.measured import measured_figures, read_measurement
    from harness.report.power.measured import measured_json, measured_lines, measured_text

    found = measured_figures(display, [read_measurement(text) for text in texts])
    if write is not None:
        _write(measured_text(display, found, write), display, write, force)
    if as_json:
        say(json.dumps({**measured_json(display, found), "written": write and str(write)}))
        return
    for line in measured_lines(display, found):
        say(line)
    if write is not None:
        say(f"Wrote {write}")


def _write(text: str, display: Display, target: Path, force: bool) -> None:
    """Write a display file; never over the one that was read. Raises WriteError."""
    from emulator.files import check_target, write_whole

    # A display file is the user's own from then on: none is overwritten without --force.
    check_target(target, force=force, keep=[] if display.path is None else [display.path])
    write_whole(target, text.encode(), replace=force)
