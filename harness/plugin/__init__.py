"""The pytest plugin `foreglow`.

Fixtures: `display`, the display under test; `bench`, that display on an emulated bench, dark, at
time 0, on a simulated clock; `machine_time`, to set the time of day. time.sleep, time.monotonic,
time.time and asyncio of the test use the simulated clock (`harness.simulated.machine_time`).
`harness.assertions` has assertions on what the wall shows. Code under test that opens an output at
`memory:` sends to `bench`.

Every run of pytest loads the plugin, so it imports its parts only when a run needs them.

Which display: the marker `@pytest.mark.foreglow_display("banner")` on a test, class or module
(several names run the test for each), else `--foreglow-display`, else `foreglow_display` in the
ini file. Without any of them the fixtures fail. A path on the command line is relative to the
current folder, any other path to the root of the test run.

Patterns: `@pytest.mark.foreglow_patterns("chase", "rows")` runs a test that takes the fixture
`pattern` once for each pattern named; without names, for every pattern.

Checks: `foreglow_check = show:to_wire` in the ini file, or `--foreglow-check`, collects one item
for each check of `foreglow check`: `foreglow::map`, `foreglow::colour` … (not where the command
line names single files or tests). `pytest foreglow::map` runs one.

Real time: the marker `@pytest.mark.foreglow_real_time`, or `foreglow_real_time = true` in the
ini file, leaves the machine's time alone; the bench then runs on it.

Options: `--foreglow-window` shows each bench in a window. `--foreglow-update` stores what is shown
as the expected pictures and sequences. `--foreglow-report DIR` names the folder for pictures of
failed tests and a page of them, index.html (default: foreglow-failures).
"""

from harness.plugin.checkarguments import pytest_collection_modifyitems
from harness.plugin.choice import display, pytest_generate_tests
from harness.plugin.fixtures import bench, machine_time
from harness.plugin.options import pytest_addoption, pytest_configure
from harness.plugin.patterns import pattern
from harness.plugin.reports import pytest_runtest_makereport
from harness.plugin.running import pytest_runtest_call

__all__ = [
    "bench",
    "display",
    "machine_time",
    "pattern",
    "pytest_addoption",
    "pytest_collection_modifyitems",
    "pytest_configure",
    "pytest_generate_tests",
    "pytest_runtest_call",
    "pytest_runtest_makereport",
]
