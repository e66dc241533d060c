"""`foreglow survey`: from a film of the wall to how it is built."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

from harness.cli.options import DisplayName, Force, Json, result_file, write_png
from harness.report.terminal import say, terminal


def survey(
    display: DisplayName,
    film: Annotated[
        Path,
        typer.Argument(help="A film of the wall that plays coded-film, or a folder of stills."),
    ],
    mirrored: Annotated[
        bool, typer.Option("--mirrored", help="The camera mirrors, as many webcams do.")
    ] = False,
    output: Annotated[
        Path | None,
        typer.Option(
            "--output",
            "-o",
            help="Where the map as built goes, a .csv file.",
            show_default="foreglow-out/",
        ),
    ] = None,
    picture: Annotated[
        Path | None,
        typer.Option(
            help="Where the picture of the result goes, a .png file.", show_default="foreglow-out/"
        ),
    ] = None,
    force: Force = False,
    as_json: Json = False,
) -> None:
    """Read from a film which LED sits where, which are dark or weak, and what that means.

    Play `foreglow run mywall coded-film --to …` on the wall. Film it from before its beginning to
    after its end, on a stand or a chair, the whole wall in the picture; better in a dark room and
    from the front. Exit status 1 if the wall is not as planned, or the film leaves something open.
    """
    from PIL import Image

    from emulator.description.load import load_display
    from harness.find.session import without_faults
    from harness.report.survey.picture import draw_survey
    from harness.report.survey.terminal import print_survey
    from harness.survey.footage import footage
    from harness.survey.seeing import see
    from harness.survey.told import told, write_map

    wall = without_faults(load_display(display))
    # A CSV has no place to say who wrote it; under the default name it is an earlier map of ours.
    own = force or output is None
    table = result_file(output, f"{wall.name}-as-built.csv", wall, own, (".csv",))
    drawn = result_file(picture, f"{wall.name}-survey.png", wall, force, (".png",))
    with terminal(stderr=True).status("…") as status:
        seen = see(footage(film, mirrored=mirrored), wall, status.update)
        status.update("looking for what is behind it")
        found = told(seen)
    write_map(found, table)
    write_png(Image.fromarray(draw_survey(found)), drawn)
    if as_json:
        say(json.dumps(found.to_json() | {"map": str(table), "picture": str(drawn)}, indent=2))
    else:
        print_survey(found, terminal())
        say(f"Map as built: {table}")
        say(f"Picture: {drawn}")
    raise typer.Exit(int(bool(found.findings or found.uncertain)))
