"""The fixture `pattern`, and the tests that run for each of several test patterns."""

from __future__ import annotations

import pytest

from emulator.errors import UnknownNameError
from harness.patterns import PATTERNS, Pattern
from harness.patterns import pattern as pattern_named

_MARKER = "foreglow_patterns"


def parametrize_patterns(metafunc: pytest.Metafunc) -> None:
    """Run a test that takes `pattern` once for each pattern that its marker names."""
    marker = metafunc.definition.get_closest_marker(_MARKER)
    if marker is None or "pattern" not in metafunc.fixturenames:
        return
    names = marker.args or tuple(PATTERNS)
    try:
        patterns = [pattern_named(str(name)) for name in names]
    except UnknownNameError as error:
        message = f"{metafunc.definition.nodeid}: {error}"
        raise pytest.Collector.CollectError(message) from None  # the message is all there is
    metafunc.parametrize("pattern", patterns, indirect=True, ids=[p.name for p in patterns])


@pytest.fixture
def pattern(request: pytest.FixtureRequest) -> Pattern:
    """The test pattern that this run of the test is for."""
    given = getattr(request, "param", None)
    if isinstance(given, Pattern):
        return given
    pytest.fail(
        f"the fixture 'pattern' needs the marker {_MARKER}\n"
        f'  To mend: @pytest.mark.{_MARKER}("chase", "rows"); without names it is every pattern.',
        pytrace=False,
    )
