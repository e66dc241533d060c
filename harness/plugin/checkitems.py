"""A test item for each check of `foreglow check`, for the code that the project names.

`foreglow_check = show:to_wire` in the ini file, or --foreglow-check, collects `foreglow::map`,
`foreglow::colour` …: -k, JUnit and IDEs see them as tests. The checks run once a process, when
the first of them is asked for.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from emulator.errors import ForeglowError
from harness.plugin.choice import chosen_display


class Checks(pytest.Collector):
    """All checks, in their order."""

    def collect(self) -> Iterator[pytest.Item]:
        from harness.checks.check import ALL_CHECKS

        for name in ALL_CHECKS.names():
            yield CheckItem.from_parent(self, name=name)


class CheckItem(pytest.Item):
    """One check. It fails unless its verdict is 'pass', like `foreglow check`."""

    def runtest(self) -> None:
        """Run all checks, unless an earlier item has; fail if this check did not pass."""
        from harness.assertions.right import failure_of

        report, trial = _checked(self.config)
        own = next(result for result in report.results if result.check == self.name)
        if own.verdict != "pass":
            alone = type(report)(report.display, report.subject, (own,))
            about = f"{report.subject} on '{report.display}': {own.summary}"
            raise failure_of(alone, trial, about)
        self.add_report_section("call", "foreglow", own.summary)

    def repr_failure(self, excinfo: pytest.ExceptionInfo[BaseException], style: Any = None) -> str:
        """Only the message of the check: our traceback would not help anyone."""
        if isinstance(excinfo.value, (AssertionError, ForeglowError, pytest.fail.Exception)):
            return str(excinfo.value)
        return str(super().repr_failure(excinfo, style))

    def reportinfo(self) -> tuple[Path, int | None, str]:
        """Its place and its name, for the terminal and JUnit."""
        return self.config.rootpath, None, self.nodeid


_REPORT = pytest.StashKey[Any]()


def _checked(config: pytest.Config) -> Any:
    """The report and the trial of the code that the project names, made once a process.

    If the checks raised an error, each call raises it again.
    """
    if _REPORT not in config.stash:
        try:
            config.stash[_REPORT] = _run(config)
        except ForeglowError as error:
            config.stash[_REPORT] = error
    found = config.stash[_REPORT]
    if isinstance(found, ForeglowError):
        raise found
    return found


def _run(config: pytest.Config) -> Any:
    from harness.checks.check import run_checks
    from harness.subject.given import subject_of
    from harness.subject.trial import Trial

    given = str(config.getoption("--foreglow-check") or config.getini("foreglow_check"))
    map_file = config.rootpath / given
    display = chosen_display(config)
    stack = contextlib.ExitStack()
    config.add_cleanup(stack.close)  # not earlier: a failure asks the code for one more picture
    subject = subject_of(map_file if map_file.is_file() else given, display)
    trial = Trial(display, stack.enter_context(subject))
    return run_checks(trial), trial
