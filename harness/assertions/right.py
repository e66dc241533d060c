"""Checks code against the wiring of its wall: the checks of `foreglow check` in a test."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from emulator.description.display import Display
from harness.assertions.failure import PictureFailure
from harness.checks.check import run_checks
from harness.checks.checking import chosen
from harness.patterns.sources import example_picture
from harness.report.findings import print_findings
from harness.report.terminal import as_text
from harness.result.report import Report
from harness.subject.given import Given, subject_of
from harness.subject.trial import Trial

__tracebackhide__ = True  # a failure points to the line of the test

_MOST_FINDINGS = 5
_WIDTH = 100  # letters in a line of the message
_CLOSE = 0.02  # linear light: smaller differences are invisible
_SEEN = ("map", "colour", "levels", "patterns")  # checks of what a picture shows


def assert_map(display: Display, subject: Given) -> None:
    """Fail unless every LED shows the cell of the picture that it sits in.

    subject: the code under test, as `harness.check` takes it. `assert_right` judges colours and
    levels as well. Raises AssertionError in the words of `foreglow check`, with the wall as
    expected and as shown; SubjectError if the code does not answer.
    """
    _judge(display, subject, ("map",))


def assert_right(display: Display, subject: Given, only: str | Sequence[str] = ()) -> None:
    """Fail unless all checks of `foreglow check` pass, without a fault or a warning.

    subject, only: as `harness.check` takes them. Raises AssertionError and SubjectError as
    `assert_map` does, and UnknownNameError for an unknown check.
    """
    _judge(display, subject, chosen(only))


def _judge(display: Display, subject: Given, only: tuple[str, ...]) -> None:
    with subject_of(subject, display) as code:
        trial = Trial(display, code)
        report = run_checks(trial, only)
        if report.verdict != "pass":
            raise failure_of(report, trial)


def failure_of(report: Report, trial: Trial, about: str = "") -> AssertionError:
    """The failure of a report that has not passed: its first findings, and its picture.

    about: the first line, by default what was checked and the number of findings. Returns a
    PictureFailure if the example picture shows what is wrong.
    """
    found = [finding for finding in report.findings if finding.severity != "note"]
    console, text = as_text(_WIDTH)
    print_findings(found[:_MOST_FINDINGS], console)
    counted = f"{len(found)} finding{'s' * (len(found) != 1)}"
    lines = [about or f"{report.subject} on '{report.display}': {counted}"]
    lines += [line.rstrip() for line in text.getvalue().splitlines() if line.strip()]
    if len(found) > _MOST_FINDINGS:
        rest = len(found) - _MOST_FINDINGS
        lines.append(f"… and {rest} more: `foreglow check` lists them all")
    message = "\n".join(lines)
    if any(result.check in _SEEN and result.verdict != "pass" for result in report.results):
        meant, shown = trial.compare(example_picture(trial.display))
        differs = (np.abs(meant - shown) > _CLOSE).any(axis=-1) & ~trial.display.gap
        if differs.any():
            return PictureFailure.of_difference(message, trial.display, meant, shown, differs)
    return AssertionError(message)
