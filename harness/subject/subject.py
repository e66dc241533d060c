"""The code under test, as a function from a picture to the bytes on the wire."""

from __future__ import annotations

import contextlib
import importlib
import os
import sys
import traceback
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path, PureWindowsPath
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from emulator import canvas
from emulator.arrays import Srgb
from emulator.bench import WireData
from emulator.description.display import Display
from emulator.description.mapfile import read_claim
from emulator.errors import ForeglowError, SubjectError, near_miss
from emulator.signal.framing import frame_bytes
from foreglow.names import HOME, hint

if TYPE_CHECKING:
    from harness.subject.reception import Trouble


@dataclass(frozen=True)
class Subject:
    """The code to check: `to_wire(picture)` returns what `Bench.send_frame` takes.

    picture: (rows, columns, 3) uint8 sRGB. took_ns: ns for the last picture, if that is not the
    time of the call. printed: bytes that it has printed so far, if known. trouble: what damaged its
    frames before they arrived here, or would damage them, if known.
    """

    name: str
    to_wire: Callable[[Srgb], WireData]
    took_ns: Callable[[], int] | None = None
    printed: Callable[[], int] | None = None
    trouble: Callable[[], tuple[Trouble, ...]] | None = None


def own_code(display: Display) -> Subject:
    """foreglow's own canvas, the display file's limit and its wiring."""
    return Subject("foreglow's own map", lambda picture: _sent(picture, display))


def map_file(path: Path | str, display: Display) -> Subject:
    """Code that uses a map of its own: a CSV file with columns line,led,column,row.

    Lines that the display does not have are an error. Cells may be wrong, missing or double; an LED
    that is not listed, or has column and row -1, stays dark. Raises MapFileError, SubjectError.
    """
    wiring = read_claim(path, display.gap)
    lines = len(display.wiring.line_names)
    if len(wiring.line_names) > lines:
        raise SubjectError(
            f"the map has lines 0 to {len(wiring.line_names) - 1}, but '{display.name}'"
            f" has {lines} line(s)",
            place=path,
            fix="number the lines from 0 as the display file does.",
        )
    theirs = replace(display, wiring=wiring)
    return mapped(f"the map {path}", theirs, display)


def mapped(name: str, theirs: Display, display: Display) -> Subject:
    """foreglow's own code with another wiring, that of `theirs`.

    Lines of `display` that `theirs` lacks get a frame without LEDs.
    """
    lines = len(display.wiring.line_names)
    nothing = frame_bytes(np.zeros((0, display.chip.bytes_per_led), np.uint8), display.chip)

    def to_wire(picture: Srgb) -> WireData:
        sent = _sent(picture, theirs)
        return sent + [nothing] * (lines - len(sent))

    return Subject(name, to_wire)


def _sent(picture: Srgb, display: Display) -> list[NDArray[np.uint8]]:
    """What `Bench.send` would put on each line, without memory of the frames before."""
    drives = canvas.to_drives(picture, display)
    if display.power.limit_a is not None:
        drives = canvas.limit_current(drives, display.chip, display.power.limit_a)
    return canvas.to_wire(drives, display)


def found(name: str) -> Callable[..., Any]:
    """The function of 'module:function'; the module may be in the current folder.

    Raises SubjectError if it cannot be found.
    """
    module_name, colon, path = name.rpartition(":")  # a drive letter has a colon, too
    if not (module_name and colon and path):
        raise SubjectError(
            f"'{name}' does not name a function",
            fix="write module:function, such as show:to_wire for the function to_wire in show.py.",
        )
    if module_name.endswith(".py") or "/" in module_name or "\\" in module_name:
        stem = PureWindowsPath(module_name).stem  # which knows / and \
        raise SubjectError(
            f"'{module_name}' is a file, not a module",
            fix=f"write {stem}:{path}, in the folder of {stem}.py.",
        )
    if os.getcwd() not in sys.path:
        sys.path.insert(0, os.getcwd())
    try:
        module = importlib.import_module(module_name)
    except ModuleNotFoundError as error:
        if error.name not in (module_name, module_name.split(".")[0]):
            raise _raised(f"importing {module_name}", error) from error
        raise SubjectError(
            f"there is no module '{module_name}' here{hint(error, Path.cwd())}",
            fix=f"run the command in the folder of {module_name.split('.')[0]}.py, or set"
            " PYTHONPATH.",
        ) from error
    except (Exception, SystemExit) as error:
        raise _raised(f"importing {module_name}", error) from error
    thing: Any = module
    for part in path.split("."):
        if not hasattr(thing, part):
            names = [n for n in dir(thing) if not n.startswith("_")]
            raise SubjectError(
                f"{module_name} has no '{path}'{near_miss(part, names)}",
                fix="name a function of that module.",
            )
        thing = getattr(thing, part)
    if not callable(thing):
        raise SubjectError(f"{name} is not a function", fix="name a function.")
    return thing  # type: ignore[no-any-return]


def function(name: str, call: Callable[..., Any]) -> Subject:
    """Your function, called `name`.

    It takes a picture (rows, columns, 3) uint8 sRGB and returns bytes in wire order: all lines one
    after the other, or a list with one item for each line. If the function raises, `to_wire` raises
    SubjectError.
    """

    def to_wire(picture: Srgb) -> WireData:
        try:
            with contextlib.redirect_stdout(sys.stderr):  # what it prints is not part of our output
                sent = call(picture)
        except SubjectError:
            raise
        except (Exception, SystemExit) as error:
            raise _raised(f"calling {name}", error) from error
        if sent is None:
            raise SubjectError(f"{name} returned None", fix="return the bytes in wire order.")
        return sent  # type: ignore[no-any-return]

    return Subject(name, to_wire)


def _raised(doing: str, error: BaseException) -> SubjectError:
    """The error, with the line of the user's code that raised."""
    frames = traceback.extract_tb(error.__traceback__)
    theirs = [f for f in frames if not _is_ours(f.filename)]
    told, fix = str(error), f"correct that line{f': {theirs[-1].line}' if theirs else ''}"
    if isinstance(error, ForeglowError):  # its message says how to fix it
        told, fix = error.what, error.fix
    return SubjectError(
        f"{type(error).__name__} while {doing}: {told}{hint(error, Path.cwd())}",
        place=f"{theirs[-1].filename}, line {theirs[-1].lineno}" if theirs else "",
        fix=fix,
    )


def _is_ours(filename: str) -> bool:
    """Whether a line is foreglow's: the mistake is in the user's line that calls it."""
    ours = (HOME / "emulator", HOME / "harness")
    return filename.startswith("<frozen") or any(Path(filename).is_relative_to(o) for o in ours)
