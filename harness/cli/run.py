"""`foreglow run`: the show itself, all day."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from harness.cli.options import DisplayName, Faults, SceneName, seconds, size, wall_of


def run(
    display: DisplayName,
    scene: SceneName,
    to: Annotated[
        list[str] | None,
        typer.Option(
            help="An output's address; may be repeated. The first is the wall: only its end can end"
            " the show. If another output fails, that is logged, and it is opened again or left"
            " out.",
            show_default="window:",
        ),
    ] = None,
    otherwise: Annotated[
        str | None,
        typer.Option(help="A scene to show while the first one is out."),
    ] = None,
    lasts: Annotated[
        str | None,
        typer.Option("--for", help="For how long: 10h, 90min, 30s. Without: until it is ended."),
    ] = None,
    patience: Annotated[
        str, typer.Option(help="A scene that does not answer for so long is started again.")
    ] = "5s",
    log: Annotated[
        Path | None,
        typer.Option(help="Write the lines of the terminal to this file too."),
    ] = None,
    memory: Annotated[
        str | None,
        typer.Option(
            help="A scene that takes more, with all that it starts, is started again: 1GB, 500MB."
        ),
    ] = None,
    record: Annotated[
        Path | None,
        typer.Option(help="Keep what is shown in this folder, or in NAME-2 … if it is taken."),
    ] = None,
    full_screen: Annotated[
        bool, typer.Option("--full-screen", help="window: takes the whole screen; Q closes it.")
    ] = False,
    pace: Annotated[
        float | None,
        typer.Option(
            min=0.1,
            max=6,
            help="Pictures a second of a pattern: slower for a slow camera. At 6, the most,"
            " an LED flashes three times a second.",
        ),
    ] = None,
    fault: Faults = None,
) -> None:
    """Play a scene on the wall until Ctrl-C, SIGTERM, SIGHUP or the end of its time; then go dark.

    The scene runs in a process of its own. If it raises, dies or hangs, it starts again after 1
    s, then 2 s … 30 s. Meanwhile the wall shows --otherwise, or the last picture for 10 s and
    then nothing. What the scene prints, and what its cameras say, is shown and logged, at most
    20 lines a minute. If you save a scene during the show, it is reloaded only after it has failed.
    The window of a show cannot be paused. The log names flashes above the thresholds of WCAG
    2.2, at most once an hour. Exit status 1 if an error ended the show.
    """
    from harness.patterns.pattern import ALL_PATTERNS
    from harness.show.perform import Bill, perform

    shown = wall_of(display, fault)
    lasts_s = None if lasts is None else seconds(lasts)
    if lasts_s is not None and lasts_s <= 0:
        raise typer.BadParameter("--for must be more than 0 s")
    places = to or ["window:"]
    patience_s = seconds(patience)
    if patience_s <= 0:
        raise typer.BadParameter("--patience must be more than 0 s")
    if pace is not None and scene not in ALL_PATTERNS:
        raise typer.BadParameter(f"--pace is for patterns; {scene} is none")
    bill = Bill(
        display,
        scene,
        [on_full_screen(place) for place in places] if full_screen else places,
        otherwise,
        lasts_s,
        patience_s,
        log,
        None if memory is None else size(memory),
        record,
        1.0 if pace is None else pace * ALL_PATTERNS[scene].hold_ms / 1000,
    )
    raise typer.Exit(int(not perform(bill, shown)))


def on_full_screen(address: str) -> str:
    """The address; if it is a window's, of one that takes the whole screen."""
    if not address.lower().startswith("window:") or "full-screen=" in address:
        return address
    return address + ("&" if "?" in address else "?") + "full-screen=yes"
