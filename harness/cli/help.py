"""The help of `foreglow` and its commands."""

from __future__ import annotations

import inspect
from collections.abc import Callable

START = """\
foreglow stands in for a display of addressable LEDs until it is built.

  foreglow new mywall.toml --columns 36 --rows 20    describe your wall
  foreglow check mywall --call show:to_wire          prove your code against its wiring
  foreglow view mywall aurora                        see it

Try them with a demo first: foreglow check foyer, foreglow view foyer aurora.
foreglow --help lists all commands, and each takes --help."""

EXAMPLES = {
    "new": "foreglow new mywall.toml --columns 36 --rows 20 --start bottom-left",
    "map": "foreglow map foyer -o wall.csv",
    "sheet": "foreglow sheet foyer -o wall.pdf",
    "chips": "foreglow chips --sources",
    "schema": "foreglow schema > display.schema.json",
    "check": "foreglow check foyer --call show:to_wire",
    "mutate": 'foreglow mutate "pytest -q" --call show:to_wire --display foyer',
    "faults": "foreglow faults data-open --picture",
    "campaign": "foreglow campaign sign",
    "find": 'foreglow find foyer --rehearse "data-open line=0 after=143"',
    "survey": "foreglow survey mywall film.mp4",
    "decode": "foreglow decode capture.vcd --chip WS2812B",
    "view": "foreglow view foyer aurora",
    "render": "foreglow render foyer chase --at 1.5s -o wall.png",
    "light": "foreglow light foyer --distance 6m",
    "power": "foreglow power foyer --plan 4.5",
    "flash": "foreglow flash foyer clock --seconds 120",
    "cut": "foreglow cut foyer -o parts --bed 600x400 --kerf 0.15",
    "run": "foreglow run foyer lobby --to serial:///dev/ttyACM0 --to window: --for 10h",
    "service": "foreglow service foyer lobby --to serial:///dev/ttyACM0",
    "firmware": "foreglow firmware sign -o sign-firmware",
    "soak": "foreglow soak foyer lobby --hours 10",
    "listen": "foreglow listen foyer --serial",
    "record": "foreglow record foyer clock --seconds 10 -o rec",
    "export": "foreglow export rec clip.mp4",
    "report compare": "foreglow report compare old.json new.json",
    "compare": "foreglow compare rec other",
}


def help_of(command: Callable[..., None]) -> str:
    """The command's docstring, each paragraph in one line, so that it fills any terminal."""
    paragraphs = (inspect.getdoc(command) or "").split("\n\n")
    return "\n\n".join(as_written(" ".join(one.split())) for one in paragraphs)


def as_written(text: str) -> str:
    """A text for rich in which [brackets] are not markup."""
    return text.replace("[", "\\[")
