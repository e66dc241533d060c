"""Collects the reports of all workers: makes the page of failed tests and the summary."""

from __future__ import annotations

import contextlib
from typing import Any

import pytest

from emulator.errors import WriteError
from emulator.files import MARK, write_whole
from harness.plugin.places import PICTURES, report_folder

PAGE = "index.html"
_MADE_BY = f'<meta name="generator" content="{MARK}">'


class Collector:
    """A plugin of the process that prints the summary; workers have none."""

    def __init__(self, config: pytest.Config) -> None:
        self._folder = report_folder(config)
        self._page = self._folder / PAGE
        self._typed_from = config.invocation_params.dir
        self._told: list[dict[str, Any]] = []
        self._stored: list[str] = []
        self._problem = ""

    def pytest_sessionstart(self) -> None:
        """Remove the page and the pictures of the run before."""
        if not self._page.is_file():
            return
        with contextlib.suppress(OSError):  # if that fails, the tests still run
            if _MADE_BY in self._page.read_text("utf-8", errors="replace"):
                self._page.unlink()
                for picture in (self._folder / PICTURES).glob("*.png"):
                    picture.unlink()

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Keep what a test's own process has added to its report."""
        self._stored += getattr(report, "foreglow_stored", [])
        if failure := getattr(report, "foreglow_failure", None):
            self._told.append(failure)

    @pytest.hookimpl(trylast=True)
    def pytest_sessionfinish(self) -> None:
        """Write the page if there is something to show."""
        if not self._told:
            return
        from harness.report.page.failures import failures_page
        from harness.report.page.page import Failed
        from harness.report.page.render import page_html

        told = sorted(self._told, key=lambda told: str(told["failed"]["test"]))
        try:
            failures = [
                (Failed(**one["failed"], images=self._images(one)), one["wall"]) for one in told
            ]
            write_whole(self._page, page_html(failures_page(failures)))
        except (OSError, WriteError) as problem:
            self._problem = str(problem)

    def _images(self, told: dict[str, Any]) -> list[tuple[str, bytes]]:
        """The pictures of a failed test that the page does not draw itself. Raises OSError."""
        folder = self._folder / PICTURES
        return [(label, (folder / name).read_bytes()) for label, name in told["images"]]

    def pytest_terminal_summary(self, terminalreporter: Any) -> None:
        """Say which files were stored, and where the page is."""
        if self._stored:
            terminalreporter.section("foreglow: stored")
            for name in self._stored:
                terminalreporter.line(name)
        if self._told:
            page = self._page
            near = page.is_relative_to(self._typed_from)
            where = page.relative_to(self._typed_from) if near else page
            terminalreporter.section("foreglow: failed tests in pictures")
            terminalreporter.line(self._problem or str(where))
