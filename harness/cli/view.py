"""`foreglow view` and `render`: what the wall looks like."""

from __future__ import annotations

import contextlib
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from harness.cli.ending import end_as_by_ctrl_c
from harness.cli.light import DISTANCES, LIGHTS, Distance, labelled_covers, quantity
from harness.cli.options import (
    SCENE_HELP,
    DisplayName,
    Faults,
    Force,
    Now,
    SceneName,
    chosen_source,
    result_file,
    seconds,
    wall_of,
    write_png,
)
from harness.report.terminal import say

if TYPE_CHECKING:
    from collections.abc import Mapping

    from emulator.browser import BrowserScreen
    from emulator.clock import Clock
    from emulator.description.display import Display
    from emulator.view.controls import State
    from emulator.view.player import Player
    from emulator.view.viewing import Viewing
    from harness.patterns.sources import PictureAt


def render(
    display: DisplayName,
    scene: Annotated[
        str | None,
        typer.Argument(help=f"{SCENE_HELP} By default aurora; with --compare white and text."),
    ] = None,
    at: Annotated[str, typer.Option(help="The moment to show: 1.5s, 200ms.")] = "0s",
    width: Annotated[int, typer.Option(min=16, max=8192, help="Pixels across.")] = 960,
    numbers: Annotated[
        bool, typer.Option("--numbers", help="Write the LED numbers over the cells.")
    ] = False,
    distance: Distance = None,
    ambient: Annotated[
        str, typer.Option(help="Light of the surroundings on the front: 200lx; dark without.")
    ] = "0lx",
    photo: Annotated[
        bool, typer.Option("--photo", help="Expose for this picture, as a camera does.")
    ] = False,
    compare: Annotated[
        str | None,
        typer.Option(help="Covers side by side: depth=5,10,20 (mm), scatter=…, walls=none,white."),
    ] = None,
    output: Annotated[Path, typer.Option("--output", "-o", help="The PNG to write.")] = Path(
        "wall.png"
    ),
    fault: Faults = None,
    force: Force = False,
    now: Now = None,
) -> None:
    """Draw the wall at one moment, without a screen, in the LEDs' own colours.

    White is what looks white to an eye that is adapted to the wall.
    """
    from emulator.bench import Bench
    from emulator.light.look import Look
    from emulator.light.photo import photo_look
    from emulator.light.still import side_by_side, still
    from harness.patterns.pattern import pattern
    from harness.patterns.sources import example_picture
    from harness.simulated.day import day_from

    shown = wall_of(display, fault)
    target = result_file(output, "", shown, force, (".png",))
    if compare is not None and (numbers or photo):
        raise typer.BadParameter("--compare cannot be combined with --numbers or --photo")
    look = Look(quantity(distance, DISTANCES), quantity(ambient, LIGHTS) or 0.0, led_colours=True)
    covers = labelled_covers(shown, compare, look) if compare is not None else []
    bench = Bench(shown, powered=True)
    time_s = seconds(at)
    if covers and scene is None:
        name = "full white and text"
        pictures = [pattern("full-load").draw(shown, 3), example_picture(shown)]
    else:
        with day_from(now, bench.clock, time_s), chosen_source(shown, scene or "aurora") as chosen:
            name, source = f"{chosen[0]} at {time_s:g} s", chosen[1]
            pictures = [source(time_s)]
    lights = []
    for sent in pictures:
        bench.send(sent)
        lights.append(bench.picture)
    if covers:
        picture = side_by_side(covers, lights, look, max(width, 320))
    else:
        (light,) = lights
        look = photo_look(shown, light, look) if photo else look
        picture = still(shown, light, width, numbers=numbers, look=look)
    write_png(picture, target)
    say(f"Wrote {output}: {shown.name}, {name}")


def view(
    display: DisplayName,
    scene: SceneName = "aurora",
    simulated: Annotated[
        bool, typer.Option("--simulated", help="Simulated time: as fast as the screen draws.")
    ] = False,
    width: Annotated[
        int, typer.Option(min=160, max=8192, help="Pixels across the wall, times --scale.")
    ] = 960,
    distance: Distance = None,
    ambient: Annotated[
        str | None,
        typer.Option(
            help="Light of the surroundings: 200lx; by default as in \\[view], else dark."
        ),
    ] = None,
    scale: Annotated[
        float | None,
        typer.Option(min=0.5, max=4, help="Scale of the window; by default that of the screen."),
    ] = None,
    full_screen: Annotated[
        bool, typer.Option("--full-screen", help="Take the whole screen; Q ends it.")
    ] = False,
    browser: Annotated[
        bool, typer.Option("--browser", help="Show it in browsers instead; Ctrl-C ends it.")
    ] = False,
    port: Annotated[
        int | None,
        typer.Option(min=0, max=65535, help="--browser: the port, 8080 by default; 0: a free one."),
    ] = None,
    host: Annotated[
        str | None,
        typer.Option(help="--browser: also for other machines, with a token: 0.0.0.0 for all."),
    ] = None,
    fault: Faults = None,
    now: Now = None,
) -> None:
    """Open a window that shows the wall, playing patterns and scenes; H lists its keys.

    A scene's file reloads when you save it. If the scene raises an error, the window shows it.
    """
    from emulator.view.viewing import Viewing
    from harness.simulated.day import day_from

    if not browser and (port is not None or host is not None):
        raise typer.BadParameter("--port and --host are for --browser")
    if browser and (full_screen or scale is not None):
        raise typer.BadParameter("--full-screen and --scale are not for --browser")
    shown = wall_of(display, fault)
    with contextlib.ExitStack() as opened:
        playing, sources = _sources(scene, shown, opened)
        viewing = Viewing.of(shown, quantity(distance, DISTANCES), quantity(ambient, LIGHTS))
        player: Player[Any]
        where = ""
        if browser:
            end_as_by_ctrl_c()
            player = served = _in_browsers(
                shown, sources, playing, not simulated, width, viewing, port, host
            )
            where = f"The wall is at {served.screen.url} (Ctrl-C ends it)"
        else:
            from emulator.window import WallWindow

            player = window = WallWindow(
                shown,
                sources,
                playing,
                real_time=not simulated,
                pixels_wide=width,
                viewing=viewing,
                scale=scale,
            )
            if full_screen:
                window.screen.fill_screen()
        opened.callback(player.close)
        try:
            if where:
                say(where)
            with day_from(now, player.bench.clock):  # it pauses and steps with the show
                player.run()
        except KeyboardInterrupt:
            if not browser:
                raise
            say("Closed.")


def _in_browsers(
    display: Display,
    sources: Mapping[str, PictureAt],
    playing: str,
    real_time: bool,
    pixels_wide: int,
    viewing: Viewing,
    port: int | None,
    host: str | None,
) -> Player[BrowserScreen]:
    """The player whose surface is a server for browsers."""
    from emulator.browser import BrowserScreen
    from emulator.ports.browser import PORT
    from emulator.view.player import Player

    def opens(display: Display, state: State, clock: Clock) -> BrowserScreen:
        at = PORT if port is None else port
        return BrowserScreen(display, state, clock, at, host=host or "", pixels_wide=pixels_wide)

    return Player(display, sources, playing, opens, real_time=real_time, viewing=viewing)


def _sources(
    asked: str, display: Display, opened: contextlib.ExitStack
) -> tuple[str, dict[str, PictureAt]]:
    """The source asked for, and all sources to choose from; the one asked for first, if a file.

    Raises what `named_source` raises.
    """
    from harness.patterns.sources import all_sources, named_source

    sources = all_sources(display)
    keys: dict[str, str] = {}
    for key in sources:  # scenes come first
        keys.setdefault(key.partition(" ")[2], key)
    if asked in keys:
        return keys[asked], sources
    scene = opened.enter_context(named_source(asked, display))
    title = Path(asked).name
    return title, {title: scene, **sources}
