"""`harness.check`: what the command `foreglow check` does, for a test or a script."""

from __future__ import annotations

from collections.abc import Sequence

from emulator.description.display import Display
from emulator.description.load import load_display
from harness.checks.check import run_checks
from harness.result.report import Report
from harness.subject.given import Given, subject_of
from harness.subject.trial import Trial


def check(display: Display | str, subject: Given = None, only: str | Sequence[str] = ()) -> Report:
    """Replay the test patterns through the code under test and explain what is wrong.

    display: a Display, or the name of a display file or demo. subject: the code under test: a
    function from a picture (rows, columns, 3) uint8 sRGB to the bytes on the wire, a CSV map, an
    array of cells, an output …; `harness.subject.given.subject_of` lists all forms. None checks
    foreglow's own map. only: names of checks, by default all; one name, several separated by
    commas, or a sequence.

    Returns the Report: verdict, findings and figures. Raises UnknownNameError for an unknown check,
    display or demo, DisplayFileError for a broken display file, SubjectError if `subject` cannot be
    checked or sends no frame, and any error that the code under test raises.
    """
    wall = display if isinstance(display, Display) else load_display(display)
    with subject_of(subject, wall) as code:
        return run_checks(Trial(wall, code), chosen(only))


def chosen(only: str | Sequence[str]) -> tuple[str, ...]:
    """The names of checks from 'map', 'map,colour' or a sequence of names."""
    names = only.split(",") if isinstance(only, str) else only
    return tuple(name.strip() for name in names if name.strip())
