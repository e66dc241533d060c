"""The pytest plugin `foreglow`: fixtures `display` and `bench`.

Which display: the marker `@pytest.mark.foreglow_display("banner")` on a test, class or module,
else `--foreglow-display`, else `foreglow_display` in the ini file, else the demo 'foyer'.
A path is taken from the folder the option was typed in, else from the root of the test run.

What the display should show is asserted with `harness.assertions.assert_shows(bench, picture)`.
"""

from __future__ import annotations

import pytest

from emulator.bench import Bench
from emulator.description.display import Display
from emulator.description.load import demo_names, load_display


def pytest_addoption(parser: pytest.Parser) -> None:
    """Register the option and the ini key."""
    text = "display file or demo for the fixtures `display` and `bench`"
    parser.getgroup("foreglow").addoption("--foreglow-display", metavar="NAME", help=text)
    parser.addini("foreglow_display", help=text, default="foyer")


def pytest_configure(config: pytest.Config) -> None:
    """Register the marker."""
    config.addinivalue_line(
        "markers", "foreglow_display(name): display file or demo for this test's fixtures"
    )


@pytest.fixture
def display(request: pytest.FixtureRequest) -> Display:
    """The display under test (see the module for how it is chosen)."""
    config = request.config
    marker = request.node.get_closest_marker("foreglow_display")
    option = config.getoption("--foreglow-display")
    name = marker.args[0] if marker else option or config.getini("foreglow_display")
    if name in demo_names():
        return load_display(name)
    typed = option and not marker  # on the command line: from where it was typed
    return load_display((config.invocation_params.dir if typed else config.rootpath) / name)


@pytest.fixture
def bench(display: Display) -> Bench:
    """The display on an emulated bench, on a simulated clock, dark, at time 0."""
    return Bench(display)
