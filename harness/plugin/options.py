"""The options, ini keys and markers of the plugin."""

from __future__ import annotations

import pytest

from emulator.errors import WindowError, laid_out
from harness.plugin.checkarguments import take_arguments
from harness.plugin.collecting import Collector
from harness.plugin.places import REPORT


def pytest_addoption(parser: pytest.Parser) -> None:
    """Register the options and the ini keys."""
    text = "display file or demo for the fixtures `display` and `bench`"
    group = parser.getgroup("foreglow")
    group.addoption("--foreglow-display", metavar="NAME", help=text)
    parser.addini("foreglow_display", help=text, default="")
    text = "code under test, as module:function or a CSV map: its checks become test items"
    group.addoption("--foreglow-check", metavar="CODE", help=text)
    parser.addini("foreglow_check", help=text, default="")
    group.addoption(
        "--foreglow-window",
        action="store_true",
        help="show each bench in a window, in real time (press T: as fast as it draws)",
    )
    group.addoption(
        "--foreglow-update",
        action="store_true",
        help="let assert_picture and assert_sequence store what is shown instead of comparing it",
    )
    group.addoption(
        "--foreglow-report",
        metavar="DIR",
        default=REPORT,
        help=f"where to write pictures of failed tests, and index.html (default: {REPORT})",
    )
    parser.addini(
        "foreglow_real_time",
        type="bool",
        default=False,
        help="run benches on the machine's time instead of a simulated clock",
    )


def pytest_configure(config: pytest.Config) -> None:
    """Register markers and summary. Raises UsageError if the window cannot be opened."""
    take_arguments(config)
    if not hasattr(config, "workerinput"):
        config.pluginmanager.register(Collector(config), "foreglow-collector")
    config.addinivalue_line(
        "markers",
        "foreglow_display(name, ...): display file or demo for this test's fixtures; with several"
        " names, the test runs once for each",
    )
    config.addinivalue_line(
        "markers",
        "foreglow_patterns(name, ...): test patterns for this test's fixture `pattern`; the test"
        " runs once for each; without names, for every pattern",
    )
    config.addinivalue_line(
        "markers", "foreglow_real_time: this test's bench runs on the machine's time"
    )
    if config.getoption("--foreglow-window"):
        if config.getoption("numprocesses", None) or hasattr(config, "workerinput"):
            raise pytest.UsageError(
                laid_out(
                    "--foreglow-window can show the tests of one process only",
                    fix="leave out -n, or leave out --foreglow-window.",
                )
            )
        try:
            from harness.plugin.window import check_screen

            check_screen()
        except WindowError as error:
            raise pytest.UsageError(f"--foreglow-window: {error}") from error
