"""`foreglow service`: starts the show with the machine."""

from __future__ import annotations

import getpass
import sys
from pathlib import Path
from typing import Annotated

import typer

from harness.cli.options import DisplayName, SceneName, seconds, size
from harness.report.terminal import say

_GROUP = "dialout"  # the group that may use serial ports on Debian


def service(
    display: DisplayName,
    scene: SceneName,
    to: Annotated[
        list[str] | None,
        typer.Option(help="As for `foreglow run`.", show_default="window:"),
    ] = None,
    otherwise: Annotated[
        str | None,
        typer.Option(help="A scene to show while the first one is out."),
    ] = None,
    patience: Annotated[
        str, typer.Option(help="A scene that does not answer for so long is started again.")
    ] = "5s",
    memory: Annotated[
        str, typer.Option(help="A scene that takes more is started again: 1GB, 500MB.")
    ] = "1GB",
    record: Annotated[
        Path | None,
        typer.Option(help="Keep what is shown in this folder, or in NAME-2 … if it is taken."),
    ] = None,
    full_screen: Annotated[
        bool, typer.Option("--full-screen", help="A window: takes the whole screen.")
    ] = False,
) -> None:
    """Print a systemd unit that plays a scene after every boot, and what to type.

    The unit runs `foreglow run` in this folder, as you. systemd starts it after the boot, and
    again if it ends or gives no sign of life for 30 s. It bounds its memory and keeps its
    messages in the journal. A show with a window belongs to your session on the desktop, others
    to the machine.
    """
    from emulator.description.load import load_display
    from emulator.ports.opening import judge_doubles
    from harness.show.names import check_name
    from harness.show.service.unit import Service

    shown = load_display(display)
    places = to or ["window:"]
    judge_doubles(places)
    for name in (scene, otherwise):
        if name is not None:
            check_name(name)
    seconds(patience)
    words = [*_program(), "run", display, scene]
    words += [word for place in places for word in ("--to", place)]
    words += [] if otherwise is None else ["--otherwise", otherwise]
    words += ["--patience", patience, "--memory", memory]
    words += [] if record is None else ["--record", str(record)]
    words += ["--full-screen"] * full_screen
    unit = Service(
        shown.name,
        Path(scene).name,
        words,
        Path.cwd(),
        any(place.lower().startswith("window:") for place in places),
        getpass.getuser(),
        _groups(places),
        size(memory),
        1 + (otherwise is not None),
    )
    say(unit.text().rstrip("\n"))


def _program() -> list[str]:
    """How this program is started: the script beside Python, or Python itself."""
    python = Path(sys.executable)
    script = python.with_name("foreglow")
    if script.is_file():
        return [str(script)]
    return [str(python), "-c", "from harness.cli import main; main()"]


def _groups(places: list[str]) -> list[str]:
    """Groups that the outputs need, if they exist on this machine."""
    if not any(place.lower().startswith("serial:") for place in places):
        return []
    try:
        import grp

        grp.getgrnam(_GROUP)
    except (ImportError, KeyError):
        return []
    return [_GROUP]
