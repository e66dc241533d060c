"""`foreglow survey`: from a film of the wall to how it is built."""

from __future__ import annotations

import contextlib
import json
import re
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from emulator.errors import SourceError
from harness.cli.options import DisplayName, Force, Json, result_file, write_png
from harness.report.terminal import say, terminal

if TYPE_CHECKING:
    from emulator.arrays import Floats
    from emulator.description.display import Display
    from emulator.window.film_window import FilmWindow
    from harness.cli.livesurvey import Says
    from harness.survey.footage import Footage
    from harness.survey.seen import Seen

_CLICK = "click"


def survey(
    display: DisplayName,
    film: Annotated[
        Path | None,
        typer.Argument(help="A film of the wall that plays coded-film, or a folder of stills."),
    ] = None,
    camera: Annotated[
        str | None,
        typer.Option(
            help="Film it now with a camera of this computer: 0 is the first; or a device, or an"
            " address."
        ),
    ] = None,
    mirrored: Annotated[
        bool, typer.Option("--mirrored", help="The camera mirrors, as many webcams do.")
    ] = False,
    corners: Annotated[
        str | None,
        typer.Option(
            help="Where the wall is, if foreglow does not find it: 'click' asks in a window; or the"
            " middles of the corner cells in pixels of the picture with all LEDs on, clockwise from"
            ' the top left: "x,y x,y x,y x,y".'
        ),
    ] = None,
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
    import numpy as np
    from PIL import Image

    from emulator.description.load import load_display
    from harness.cli.livesurvey import filmed, open_window, shown_until_closed
    from harness.find.session import without_faults
    from harness.report.survey.picture import draw_survey
    from harness.report.survey.terminal import closing, print_survey
    from harness.survey.footage import footage
    from harness.survey.told import told, write_map

    if (film is None) == (camera is None):
        raise typer.BadParameter("name a film, or film with --camera 0")
    given = None if corners in (None, _CLICK) else _corners(corners or "")
    wall = without_faults(load_display(display))
    # A CSV has no place to say who wrote it; under the default name it is an earlier map of ours.
    own = force or output is None
    table = result_file(output, f"{wall.name}-as-built.csv", wall, own, (".csv",))
    drawn = result_file(picture, f"{wall.name}-survey.png", wall, force, (".png",))
    kept = result_file(None, f"{wall.name}-film.mkv", wall, True, (".mkv",))
    with contextlib.ExitStack() as opened:
        window = open_window(f"{wall.name}, survey") if camera or corners == _CLICK else None
        if window is not None:
            opened.enter_context(window)
        with terminal(stderr=True).status("…") as status:
            shown = (
                footage(film, mirrored=mirrored)
                if film is not None
                else filmed(str(camera), display, wall, kept, mirrored, window, status.update)
            )
            seen = _seen(shown, wall, given, corners == _CLICK, window, status.update)
            status.update("looking for what is behind it")
            found = told(seen)
        result = Image.fromarray(draw_survey(found))
        write_map(found, table)
        write_png(result, drawn)
        if as_json:
            files = {"map": str(table), "picture": str(drawn)}
            say(json.dumps(found.to_json() | files, indent=2))
        else:
            print_survey(found, terminal())
            say(f"Map as built: {table}")
            say(f"Picture: {drawn}")
            if film is None:
                say(f"Film: {kept}")
        if window is not None:
            words = [f"{found.found} of {len(found.leds)} LEDs read. {closing(found)}"]
            words += [one.what for one in found.findings[:1]] + ["Q or Escape ends."]
            shown_until_closed(np.asarray(result), words, window)
    raise typer.Exit(int(bool(found.findings or found.uncertain)))


def _seen(
    film: Footage,
    wall: Display,
    corners: Floats | None,
    click: bool,
    window: FilmWindow | None,
    says: Says,
) -> Seen:
    """What a film shows; people show where the wall is if they want to, or if they have to.

    Raises as `see` and `clicked`.
    """
    from PIL import Image

    from harness.cli.livesurvey import clicked
    from harness.survey.seeing import NoWallError, lit_frame, see

    def doing(what: str) -> None:
        says(what)
        if window is not None:
            window.take()  # so that the desktop sees that it lives

    if click:
        corners = clicked(lit_frame(film, wall), window)
    try:
        return see(film, wall, doing, corners)
    except NoWallError as error:
        lit = lit_frame(film, wall)
        if window is not None and corners is None:
            return see(film, wall, doing, clicked(lit, window))
        path = result_file(None, f"{wall.name}-lit.png", wall, True, (".png",))
        write_png(Image.fromarray(lit), path)
        raise SourceError(
            error.problem,
            place=error.place,
            fix=f"{error.fix.rstrip('.')}, or with pixels of {path}: --corners"
            ' "x,y x,y x,y x,y", the middles of the corner cells, clockwise from the top left.',
        ) from error


def _corners(text: str) -> Floats:
    """(4, 2) x and y from 'x,y x,y x,y x,y'."""
    import numpy as np

    parts = [part for part in re.split(r"[\s,;]+", text) if part]
    try:
        return np.array([float(part) for part in parts]).reshape(4, 2)
    except ValueError:
        raise typer.BadParameter(
            f"{text!r}: give 'click', or four places as \"103,88 1180,95 1175,690 99,701\""
        ) from None
