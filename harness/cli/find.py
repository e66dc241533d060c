"""`foreglow find`: from what a person sees on the wall to the joint to solder again."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from harness.cli.options import DisplayName, Force, result_file
from harness.report.terminal import say

if TYPE_CHECKING:
    from emulator.description.display import Display
    from emulator.description.faults.fault import Fault
    from harness.find.session import Session


def find(
    display: DisplayName,
    to: Annotated[
        list[str] | None,
        typer.Option(help="The address of the wall: serial:///dev/ttyACM0, e131://…; repeatable."),
    ] = None,
    sheet: Annotated[
        bool,
        typer.Option("--sheet", help="The controller plays by itself: say which pattern to start."),
    ] = False,
    rehearse: Annotated[
        list[str] | None,
        typer.Option(
            help='Without hardware: emulate the wall with a fault, as "data-open line=0 after=143";'
            " repeatable. It is drawn here; --to window: shows it in a window."
        ),
    ] = None,
    paint: Annotated[
        bool, typer.Option("--paint", help="Answer in a window: paint the cells that differ.")
    ] = False,
    built: Annotated[
        Path | None,
        typer.Option(help="At the end write the display file with the faults found, a .toml file."),
    ] = None,
    rewire: Annotated[
        Path | None,
        typer.Option(
            help="At the end write the map as built, a .csv file, if another map is enough."
        ),
    ] = None,
    session: Annotated[
        Path | None,
        typer.Option(
            help="Keep the session in this file; the same command goes on with it.",
            show_default="foreglow-out/",
        ),
    ] = None,
    new: Annotated[bool, typer.Option("--new", help="Forget the session so far.")] = False,
    force: Force = False,
) -> None:
    """Find what is wrong with a wall that is soldered: it shows pictures, you say what you see.

    Each picture is the one that tells most about the faults that are still possible, for your
    time. Answer in a few words: 'row 7 dark from the fifth', 'all red', 'fine', 'not sure'. At the
    end it names the fault, the place, and what to measure. Exit status 1 if it found a fault.
    """
    from emulator.description.faults.reading import with_faults
    from emulator.description.load import load_display
    from harness.cli.findtalk import Talk
    from harness.find.loose import possible_faults
    from harness.find.pictures import questions
    from harness.find.search import Search
    from harness.find.session import Session, without_faults

    if not (to or sheet or rehearse):
        raise typer.BadParameter(
            'say where the wall is: --to serial:///dev/ttyACM0, --sheet, or --rehearse "data-open'
            ' line=0 after=143" without hardware'
        )
    if sheet and (to or rehearse):
        raise typer.BadParameter("--sheet does without --to and --rehearse")
    wall = load_display(display)
    planned, faulty = without_faults(wall), with_faults(wall, rehearse or [])
    rehearsed = tuple(str(one) for one in faulty.faults[len(wall.faults) :])
    if built is not None:
        result_file(built, "", wall, force, (".toml",))
    if rewire is not None:
        result_file(rewire, "", wall, force, (".csv",))
    name = f"{wall.name}-find.json"
    path = result_file(session, name, wall, force or new, (".json",))
    faults = possible_faults(planned)
    search = Search(planned, faults, questions(planned), colours=not paint, known=wall.faults)
    held = Session.open(search, path, rehearsed, new)
    status = Talk(held, faulty, to or [], sheet, bool(rehearse), paint).hold()
    _write(held, wall, built, rewire)
    raise typer.Exit(status)


def _write(session: Session, wall: Display, built: Path | None, rewire: Path | None) -> None:
    """Write what was asked for, of the faults that are still in the wall."""
    from emulator.files import write_whole
    from harness.find.asbuilt import built_file, rewired_map, why_not_rewired
    from harness.result.words import many

    left: list[Fault] = [fault for fault, fixed in session.found if not fixed]
    if built is not None:
        write_whole(built, built_file(wall, left, built))
        say(f"Wrote {built}: the display file with {many(len(left), 'fault')}.")
    if rewire is not None:
        there = [*wall.faults, *left]
        reason = why_not_rewired(session.search.display, there)
        if reason is not None:
            say(f"No map: another map is not enough. {reason[0].upper()}{reason[1:]}.")
        else:
            write_whole(rewire, rewired_map(session.search.display, there))
            say(f'Wrote {rewire}. Name it in the display file: [wiring] map = "{rewire.name}"')
