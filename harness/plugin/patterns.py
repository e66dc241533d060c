"""The fixture `pattern`, and the tests that run for each of several test patterns."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from emulator.errors import UnknownNameError, laid_out

if TYPE_CHECKING:
    from harness.patterns.pattern import Pattern

_MARKER = "foreglow_patterns"


def parametrize_patterns(metafunc: pytest.Metafunc) -> None:
    """Run a test that takes `pattern` once for each pattern that its marker names."""
    marker = metafunc.definition.get_closest_marker(_MARKER)
    if marker is None or "pattern" not in metafunc.fixturenames:
        return
    from harness.patterns.pattern import ALL_PATTERNS
    from harness.patterns.pattern import pattern as named

    try:
        patterns = [named(str(name)) for name in marker.args or ALL_PATTERNS.names()]
    except UnknownNameError as error:
        message = f"{metafunc.definition.nodeid}: {error}"
        raise pytest.Collector.CollectError(message) from None  # the message is enough
    metafunc.parametrize("pattern", patterns, indirect=True, ids=[p.name for p in patterns])


@pytest.fixture
def pattern(request: pytest.FixtureRequest) -> Pattern:
    """The test pattern that this run of the test is for."""
    if hasattr(request, "param"):
        chosen: Pattern = request.param
        return chosen
    pytest.fail(
        laid_out(
            f"the fixture 'pattern' needs the marker {_MARKER}",
            fix=f'write @pytest.mark.{_MARKER}("chase", "rows"); without names, the test runs for'
            " every pattern.",
        ),
        pytrace=False,
    )
