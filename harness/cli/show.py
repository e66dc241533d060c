"""`foreglow render` and `view`: the wall as it looks."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Optional

import typer

from harness.cli.light import DISTANCES, LIGHTS, Distance, labelled_covers, quantity
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
    distance: Distance = None,
    ambient: Annotated[
        str, typer.Option(help="Light of the surroundings on the front: 200lx; dark without.")
    ] = "0lx",
    photo: Annotated[
        bool, typer.Option("--photo", help="Expose for this picture, as a camera does.")
    ] = False,
    compare: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(help="Covers side by side: depth=5,10,20 (mm), scatter=…, walls=none,white."),
    ] = None,
    output: Annotated[Path, typer.Option("--output", "-o", help="The PNG to write.")] = Path(
        "wall.png"
    ),
) -> None:
    """Draw the wall as it looks at one moment, without a screen, in the LEDs' own colours.

    An eye that has grown used to the wall takes its full white for white.
    """
    from emulator.bench import Bench
    from emulator.description.load import load_display
    from emulator.light.look import Look
    from emulator.light.photo import photo_look
    from emulator.light.still import side_by_side, still

    shown = load_display(display)
    name, source = chosen_source(shown, pattern, scene)
    if compare is not None and (numbers or photo):
        raise typer.BadParameter("--compare goes without --numbers and --photo")
    look = Look(quantity(distance, DISTANCES), quantity(ambient, LIGHTS) or 0.0, led_colours=True)
    covers = labelled_covers(shown, compare, look) if compare is not None else []
    bench = Bench(shown)
    time_s = seconds(at)
    bench.send(source(time_s))
    light = bench.picture
    if covers:
        picture = side_by_side(covers, light, look, max(width, 320))
    else:
        look = photo_look(shown, light, look) if photo else look
        picture = still(shown, light, width, numbers=numbers, look=look)
    write_png(picture, output)
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
