"""`foreglow flash`: how often a scene or pattern flashes, against WCAG 2.2, SC 2.3.1."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Optional

import typer

from harness.cli.light import DISTANCES, Distance, quantity
from harness.cli.options import RESULTS, DisplayName, Json, chosen_source
from harness.cli.options import seconds as seconds_of

_MOST = 10_000_000  # LEDs times frames: one to two GB of memory


def flash(
    display: DisplayName,
    name: Annotated[str, typer.Argument(help="A demo scene or a test pattern, by name.")],
    seconds: Annotated[str, typer.Option(help="For how long: 120, 2min.")] = "20",
    distance: Distance = None,
    plot: Annotated[
        Optional[Path],  # noqa: UP045
        typer.Option(help="Where the chart goes, .png or .svg.", show_default="foreglow-out/"),
    ] = None,
    as_json: Json = False,
) -> None:
    """Count general and red flashes in every second, over every 10° of the wall.

    At the display's real size, at the frame rate it wants. This informs; it is no medical
    clearance.
    """
    from emulator.bench import Bench
    from emulator.description.load import load_display
    from emulator.errors import UnknownNameError
    from emulator.files import write_whole
    from harness.flash.judge import judge_bench
    from harness.patterns import PATTERNS
    from harness.report.flash import flash_json, print_flash
    from harness.report.flashplot import flash_plot
    from harness.showing import frames_in, show_for
    from scenes import SCENES

    shown = load_display(display)
    if plot is not None and plot.suffix not in (".png", ".svg"):
        raise typer.BadParameter(f"{plot} is no chart; end its name in .png or .svg")
    distance_m = quantity(distance, DISTANCES)
    if name not in SCENES and name not in PATTERNS:
        raise UnknownNameError("scene or pattern", name, [*SCENES, *PATTERNS])
    scene = name if name in SCENES else None
    title, source = chosen_source(shown, None if scene else name, scene)
    bench, lasts_s = Bench(shown), seconds_of(seconds)
    if frames_in(bench, lasts_s) * shown.leds > _MOST:
        most_s = _MOST / shown.leds / shown.controller.frame_rate
        raise typer.BadParameter(f"{seconds} is too long for this display; at most {most_s:.0f} s")
    for _ in show_for(bench, source, lasts_s):
        pass
    judged = judge_bench(bench, distance_m)
    target = plot or RESULTS / f"{shown.name}-flash.png"
    write_whole(target, flash_plot(title, shown, judged, target.suffix[1:]))
    if as_json:
        print(json.dumps(flash_json(title, shown, judged), indent=2))
    else:
        from rich.console import Console

        console = Console()
        print_flash(title, shown, judged, console)
        console.print(f"Chart: {target}")
    raise typer.Exit(int(not judged.below))
