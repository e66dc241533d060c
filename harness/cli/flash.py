"""`foreglow flash`: how often a display flashes, compared with WCAG 2.2, SC 2.3.1."""

from __future__ import annotations

import contextlib
import json
import tempfile
from pathlib import Path
from typing import Annotated

import typer

from harness.cli.light import DISTANCES, Distance, quantity
from harness.cli.options import (
    ChartFile,
    DisplayName,
    Force,
    HtmlFile,
    Json,
    SceneName,
    chart_file,
    chosen_source,
    html_file,
    write_page,
)
from harness.cli.options import seconds as seconds_of
from harness.cli.recording import loaded, progress, record_to
from harness.report.terminal import say, terminal

_SECONDS = 20.0  # of a scene or pattern, unless the user says otherwise
_MOST_SECONDS = 36_000.0


def flash(
    display: DisplayName,
    scene: SceneName,
    seconds: Annotated[
        str | None,
        typer.Option(help="For how long: 120, 2min.", show_default="20; all of a recording"),
    ] = None,
    distance: Distance = None,
    plot: ChartFile = None,
    html: HtmlFile = None,
    force: Force = False,
    as_json: Json = False,
) -> None:
    """Count general and red flashes against WCAG 2.2, each second and over every 10° of the wall.

    It judges at the real size of the display and at its frame rate. A scene is first recorded
    in simulated time, into a folder that is deleted at the end. Ten hours take no more memory
    than a minute. It is information, not a medical clearance: judge the finished wall as well.
    """
    from emulator.description.load import load_display
    from emulator.files import write_whole
    from emulator.recording.disk import INDEX
    from emulator.recording.shownon import display_of
    from harness.flash.recorded import judge_recording
    from harness.report.flash.plot import flash_plot
    from harness.report.flash.terminal import flash_json, print_flash

    shown = load_display(display)
    target = chart_file(plot, f"{shown.name}-flash", shown, force)
    page = html_file(html, shown, force)
    distance_m = quantity(distance, DISTANCES)
    lasts_s = None if seconds is None else seconds_of(seconds)
    if lasts_s is not None and lasts_s <= 0:
        raise typer.BadParameter("--seconds must be more than 0")
    if lasts_s is not None and lasts_s > _MOST_SECONDS:
        raise typer.BadParameter(f"{seconds} is too long; at most {_MOST_SECONDS:.0f} s")
    with contextlib.ExitStack() as closing:
        if (Path(scene) / INDEX).exists():
            title, recording = f"recording {scene}", loaded(Path(scene)).between()
            display_of(recording, shown)
            if lasts_s is not None:
                recording = recording.between(to_s=recording.times_ns[0] / 1e9 + lasts_s)
        else:
            title, source = closing.enter_context(chosen_source(shown, scene))
            folder = closing.enter_context(tempfile.TemporaryDirectory(prefix="foreglow-"))
            lasts_s = _SECONDS if lasts_s is None else lasts_s
            record_to(Path(folder) / "shown", shown, source, lasts_s)
            recording = loaded(Path(folder) / "shown")
        judged = judge_recording(recording, shown, distance_m, progress)
    write_whole(target, flash_plot(title, shown, judged, target.suffix[1:]))
    if as_json:
        say(json.dumps(flash_json(title, shown, judged), indent=2))
    else:
        console = terminal()
        print_flash(title, shown, judged, console)
        console.print(f"Chart: {target}")
    if page is not None:
        from harness.report.page.flash import flash_page

        write_page(flash_page(title, shown, judged), page, as_json)
    raise typer.Exit(int(not judged.below))
