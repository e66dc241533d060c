"""Every error foreglow raises on purpose, so that callers can catch one base class.

ForeglowError
├── DisplayFileError   a display file (TOML) is broken or contradicts itself; all faults at once
├── MapFileError       a wiring map (CSV) is broken, has doubles or leaves the grid
├── UnknownNameError   no chip, demo, pattern, scene, output or check has that name
├── PictureError       a picture has the wrong shape, dtype or values
├── FrameError         bytes for the wire are not bytes, or not one array a line
├── CaptureError       a capture of a data line cannot be read
├── WindowError        no pygame, or no screen to open a window on
├── OutputClosedError  a picture was sent to an output that has been closed
├── AddressError       an output's address has a wrong place or option (ports/address.py)
├── CutError           parts cannot be cut from such a bed or sheet (harness/cut/settings.py)
├── FaultError         a fault of a built wall has no such kind, key or place
├── FirmwareError      a controller cannot drive a display (ports/firmware/controller.py)
├── LinkError          a serial link cannot be opened (ports/serial/port.py)
├── SpiError           an SPI device cannot be opened, or its library is missing
├── RecordingError     a recording cannot be read, does not fit, or cannot be exported
├── OutOfRangeError    a figure is outside the range of a formula or table
├── SourceError        a camera, clip, still or feed gives no picture, now or at all
├── UnsupportedError   this system (Windows, macOS …) lacks a feature that is needed
├── SceneError         a scene file cannot be loaded, raises, or returns no picture
├── WriteError         a file cannot be written; nothing was left half-written
└── SubjectError       the code under test cannot be imported, raises, or returns the wrong thing

The command line turns each into its message and exit status 2.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Self

from emulator.plaintext import clean

_FIX = "  Fix: "
_HANG = " " * len(_FIX)


class ForeglowError(Exception):
    """Base of every error that foreglow raises: what is wrong, where, and how to fix it.

    The message has three parts: `.problem`, `.place` (a file, an address, the code under test; ''
    if there is none) and `.fix` ('' if none is known). `plaintext.clean` makes text from files and
    other programs harmless in them: a message may go to a terminal, a log or a test report.
    """

    def __init__(self, problem: str, *, place: Path | str = "", fix: str = "") -> None:
        self.problem, self.place, self.fix = clean(problem), clean(str(place)), clean(fix)
        super().__init__(self.problem)

    def __str__(self) -> str:
        return laid_out(self.problem, self.place, self.fix)

    @property
    def what(self) -> str:
        """Place and problem, without the fix: for a log."""
        return laid_out(self.problem, self.place)

    @classmethod
    def of(cls, error: ForeglowError) -> Self:
        """An error of this class with problem, place and fix of another error."""
        return cls(error.problem, place=error.place, fix=error.fix)


def laid_out(problem: str, place: Path | str = "", fix: str = "") -> str:
    """The message of an error: place, problem, and the fix on a new line."""
    text = f"{place}: {problem}" if str(place) else problem
    return f"{text}\n{_FIX}{fix}" if fix else text


def fitted(message: str, width: int) -> str:
    """A message laid out for a terminal of `width` columns: broken between words.

    The further lines of a fix stand below its first word; a long word, such as a path, stays whole.
    Lines that quote something, with more spaces before them, stay as they are.
    """

    def lines(line: str) -> list[str]:
        hang = _HANG if line.startswith(_FIX) else ""
        if line[:1].isspace() and not hang:
            return [line]
        return textwrap.wrap(
            line,
            width,
            subsequent_indent=hang or "    ",
            break_long_words=False,
            break_on_hyphens=False,
            replace_whitespace=False,
        )

    return "\n".join(part for line in message.split("\n") for part in lines(line) or [""])


@dataclass(frozen=True)
class Problem:
    """One fault found in a file.

    `table` and `key` name the place ('[[line.run]] number 2', 'feds'); `line` is the line of
    the file, from 1, or None if it is not certain.
    """

    message: str
    fix: str
    table: str = ""
    key: str = ""
    line: int | None = None
    excerpt: str = ""
    allowed: tuple[str, ...] = ()

    def describe(self, path: str) -> str:
        """The fault as text: place, problem, fix."""
        return laid_out(self.problem, self.place(path), self.fix)

    def place(self, path: str) -> str:
        """The file, and the line where it is known."""
        return path if self.line is None else f"{path}, line {self.line}"

    @property
    def problem(self) -> str:
        """What was found, in which table, and the line itself."""
        inside = f" in {self.table}" if self.table else ""
        return f"{self.message}{inside}" + (f"\n    {self.excerpt}" if self.excerpt else "")


class _FileError(ForeglowError, ValueError):
    """A file with one or more faults: `.path` and `.problems`.

    `.problem`, `.place` and `.fix` are those of the first; the message lists all of them.
    """

    def __init__(self, path: Path | str, problems: Iterable[Problem]) -> None:
        self.path = str(path)
        self.problems = tuple(problems)
        first = self.problems[0]
        super().__init__(first.problem, place=first.place(self.path), fix=first.fix)

    def __str__(self) -> str:
        return clean("\n".join(p.describe(self.path) for p in self.problems))


class DisplayFileError(_FileError):
    """A display file is broken or contradicts itself."""


class MapFileError(_FileError):
    """A wiring map (CSV) is broken, has doubles or leaves the grid."""


class UnknownNameError(ForeglowError, LookupError):
    """No chip, demo, pattern, scene, output or check has that name; `.known` lists the names."""

    def __init__(self, kind: str, name: str, known: Iterable[str]) -> None:
        self.kind, self.name, self.known = kind, name, tuple(sorted(known))
        super().__init__(
            f"no {kind} is called '{name}'{near_miss(name, self.known)}",
            fix=f"use one of {', '.join(self.known)}.",
        )


class FaultError(ForeglowError, ValueError):
    """A fault of a built wall: no such kind, no such key, or a place that the wall lacks."""


class PictureError(ForeglowError, ValueError):
    """A picture has the wrong shape, dtype or values."""


class FrameError(ForeglowError, ValueError):
    """Bytes for the wire are not bytes, or not one array a line."""


class CaptureError(ForeglowError, ValueError):
    """A capture of a data line cannot be read."""


class WindowError(ForeglowError, RuntimeError):
    """A window cannot be opened: pygame or a screen is missing, or a port is in use."""


class OutputClosedError(ForeglowError, RuntimeError):
    """A picture was sent to an output that has been closed, by the program or by its user."""


class SpiError(ForeglowError, OSError):
    """An SPI device cannot be opened, or the library for it is missing."""


class OutOfRangeError(ForeglowError, ValueError):
    """A physical figure is outside the range of its formula or table."""


class SourceError(ForeglowError, RuntimeError):
    """A camera, clip, still or feed gives no picture, now or at all."""


class UnsupportedError(ForeglowError, RuntimeError):
    """This system lacks a feature, such as a pseudo-terminal."""


class SceneError(ForeglowError, RuntimeError):
    """A scene file cannot be loaded, raises, or returns no picture; `.trace` has the traceback."""

    def __init__(
        self, problem: str, *, place: Path | str = "", fix: str = "", trace: str = ""
    ) -> None:
        self.trace = trace
        super().__init__(problem, place=place, fix=fix)


class RecordingError(ForeglowError, ValueError):
    """A recording cannot be read, does not fit a display, or cannot be exported as asked."""


class WriteError(ForeglowError, OSError):
    """A file cannot be written; nothing was left half-written."""


class SubjectError(ForeglowError):
    """The code under test cannot be imported, raises, or returns the wrong thing."""


def near_miss(name: str, known: Iterable[str]) -> str:
    """'; did you mean 'x'?' for the closest of `known`, or nothing if none is close."""
    import difflib  # imported here: it loads slowly, and only mistakes need it

    close = difflib.get_close_matches(name, list(known), n=1)
    return f"; did you mean '{close[0]}'?" if close else ""


@contextmanager
def of_extra(
    extra: str,
    problem: str,
    *,
    kind: type[ForeglowError] = UnsupportedError,
    place: Path | str = "",
    instead: str = "",
) -> Iterator[None]:
    """For imports of libraries that only an extra of foreglow brings; many are slow to load.

    extra: its name in pyproject.toml. problem: what needs which library. instead: what also helps.
    Raises an error of the kind for an ImportError within.
    """
    try:
        yield
    except ImportError as error:
        more = f", or {instead}" if instead else ""
        raise kind(problem, place=place, fix=f"pip install 'foreglow[{extra}]'{more}.") from error
