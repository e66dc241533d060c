"""Sets which test runs and where its pictures are stored, for the assertions."""

from __future__ import annotations

from collections.abc import Generator

import pytest

from harness.plugin.choice import shown_for
from harness.plugin.places import command_for

STORED = pytest.StashKey[list[str]]()  # of an item: the files it has written, as told


@pytest.hookimpl(wrapper=True)
def pytest_runtest_call(item: pytest.Item) -> Generator[None, None, None]:
    """Name the test while it runs."""
    from harness.assertions.runningtest import RunningTest

    config, display = item.config, shown_for(item)
    test = RunningTest(
        folder=item.path.parent / "pictures" / item.path.stem,
        root=config.invocation_params.dir,
        command=f"{command_for(item)} --foreglow-update",
        suffix=f"-{display}" if display else "",
        update=bool(config.getoption("--foreglow-update")),
    )
    before, RunningTest.current = RunningTest.current, test  # a test may itself run pytest
    try:
        return (yield)
    finally:
        RunningTest.current = before
        item.stash[STORED] = [test.told(path) for path in test.written]
