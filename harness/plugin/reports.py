"""Adds to a test's report what the printing process needs: stored files, and pictures.

`failures` draws the pictures. It is imported when a test that shows a wall fails.
"""

from __future__ import annotations

import sys
from collections.abc import Generator
from typing import Any

import pytest

from harness.plugin.running import STORED


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item, call: pytest.CallInfo[None]
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Add to a test's report what it stored, and to that of a failed one its pictures."""
    report = yield
    if report.when != "call":
        return report
    extra: dict[str, Any] = vars(report)  # what is set here travels from worker to controller
    if stored := item.stash.get(STORED, []):
        extra["foreglow_stored"] = stored
    # Only a bench or an assertion of ours shows a wall; both have imported these.
    shows = {"emulator.bench", "harness.assertions.failure"} & sys.modules.keys()
    if report.failed and call.excinfo is not None and shows:
        from harness.plugin.failures import pictured

        if failure := pictured(item, call.excinfo, report):
            extra["foreglow_failure"] = failure
    return report
