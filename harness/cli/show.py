"""`foreglow render` and `view`: the wall as it looks."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from harness.cli.options import (
    DisplayName,
    PatternName,
    SceneName,
    chosen_source,
    seconds,
    write_png,
)


def render(
    display: DisplayName,
    pattern: PatternName = None,
    scene: SceneName = None,
    at: Annotated[str, typer.Option(help="The moment to show: 1.5s, 200ms.")] = "0s",
    width: Annotated[int, typer.Option(min=16, max=8192, help="Pixels across.")] = 960,
    numbers: Annotated[bool, typer.Option(help="Write the LED numbers over the cells.")] = False,
    output: Annotated[Path, typer.Option("--output", "-o", help="The PNG to write.")] = Path(
        "wall.png"
    ),
) -> None:
    """Draw the wall as it looks at one moment, without a screen."""
    from emulator.bench import Bench
    from emulator.description.load import load_display
    from emulator.light.still import still

    shown = load_display(display)
    name, source = chosen_source(shown, pattern, scene)
    bench = Bench(shown)
    time_s = seconds(at)
    bench.send(source(time_s))
    write_png(still(shown, bench.picture, width, numbers=numbers), output)
    print(f"Wrote {output}: {shown.name}, {name} at {time_s:g} s")


def view(
    display: DisplayName,
    pattern: PatternName = None,
    scene: SceneName = None,
    simulated: Annotated[
        bool, typer.Option("--simulated", help="Simulated time: as fast as the screen draws.")
    ] = False,
    width: Annotated[int, typer.Option(min=160, max=8192, help="Pixels across.")] = 960,
) -> None:
    """Open a window that shows the wall playing patterns and scenes; h lists its keys."""
    from emulator.description.load import load_display
    from emulator.window import WallWindow
    from harness.sources import all_sources

    shown = load_display(display)
    name, _ = chosen_source(shown, pattern, scene)
    WallWindow(shown, all_sources(shown), name, real_time=not simulated, pixels_wide=width).run()
