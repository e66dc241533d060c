"""What allows to repeat a run: versions, the command, the time, and the display file."""

from __future__ import annotations

import platform
import shlex
import sys
from importlib.metadata import version
from pathlib import Path

from emulator.clock import date_and_time
from emulator.description.display import Display

_LIBRARIES = ("numpy", "pydantic", "pillow", "pygame-ce")


def record_of(display: Display, arguments: list[str] | None = None) -> tuple[tuple[str, str], ...]:
    """(name, text) of the command, by default that of this process, versions and faults."""
    typed = sys.argv if arguments is None else arguments
    command = shlex.join([Path(typed[0]).name, *typed[1:]]) if typed else ""
    lines = [
        ("written", date_and_time()),
        ("command", command),
        ("foreglow", version("foreglow")),
        ("Python", platform.python_version()),
        *((name, version(name)) for name in _LIBRARIES),
        ("system", f"{platform.system()} {platform.machine()}"),
        ("display", str(display.path) if display.path else display.name),
    ]
    if display.faults:
        lines.append(("faults", "; ".join(map(str, display.faults))))
    return tuple(lines)


def file_of(display: Display) -> str:
    """The text of the display file; '' if it has none or it is gone."""
    if display.path is None:
        return ""
    try:
        return display.path.read_text("utf-8")
    except OSError:
        return ""
