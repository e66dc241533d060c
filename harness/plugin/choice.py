"""The fixture `display`, and the tests that run for each of several displays or patterns."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from emulator.errors import ForeglowError, laid_out
from harness.plugin.patterns import parametrize_patterns

if TYPE_CHECKING:
    from emulator.description.display import Display


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Run a test once for each display and each pattern that its markers name."""
    parametrize_patterns(metafunc)
    names = _named(metafunc.definition)
    if len(names) > 1 and "display" in metafunc.fixturenames:
        metafunc.parametrize("display", names, indirect=True, ids=[Path(n).stem for n in names])


@pytest.fixture
def display(request: pytest.FixtureRequest) -> Display:
    """The display under test, an `emulator.Display`; `harness.plugin` says how to choose it."""
    marked = getattr(request, "param", None) or next(iter(_named(request.node)), None)
    try:
        return chosen_display(request.config, marked)
    except ForeglowError as error:
        wrong = f"{type(error).__name__}: {error}"
    pytest.fail(wrong, pytrace=False)  # the message is enough: no traceback in every test


def chosen_display(config: pytest.Config, marked: str | None = None) -> Display:
    """The display that a marker names, else the option, else the ini key.

    Raises DisplayFileError, and ForeglowError if nothing names one.
    """
    from emulator.description.load import demo_names, load_display

    option = config.getoption("--foreglow-display")
    name = marked or option or config.getini("foreglow_display")
    if not name:
        raise ForeglowError(
            "no display is named for the fixtures of foreglow",
            fix="write foreglow_display = mywall.toml in the ini file, or use --foreglow-display or"
            ' the marker foreglow_display("mywall.toml"). The name of a demo, such as foyer, also'
            " works.",
        )
    typed = option and not marked  # then the path is relative to the current folder
    folder = config.invocation_params.dir if typed else config.rootpath
    return load_display(name if name in demo_names() else folder / name)


def shown_for(item: pytest.Item) -> str:
    """Which of several displays a test runs for, as in its id; '' for a single display."""
    names = _named(item)
    parameters = getattr(getattr(item, "callspec", None), "params", {})
    return Path(parameters["display"]).stem if len(names) > 1 and "display" in parameters else ""


def _named(node: pytest.Item | pytest.Function) -> tuple[str, ...]:
    """The displays that a test's marker names. Raises UsageError if the marker names none."""
    marker = node.get_closest_marker("foreglow_display")
    if marker is not None and (
        not marker.args or not all(isinstance(name, str) for name in marker.args)
    ):
        raise pytest.UsageError(
            laid_out(
                "the marker foreglow_display names no display",
                node.nodeid,
                'write foreglow_display("foyer"), or several names.',
            )
        )
    return marker.args if marker is not None else ()
