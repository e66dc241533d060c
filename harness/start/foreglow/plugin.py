"""The pytest plugin, where nothing in the project has one of foreglow's names.

Where something has, as in a project that has nothing to do with LEDs, the plugin would hide it from
the tests, or it the plugin: then there are only fixtures that say so to whoever asks for one.
"""

from __future__ import annotations

import sys
from itertools import takewhile
from pathlib import Path

import pytest

from foreglow.names import HOME, others, told

_before_ours = takewhile(lambda folder: Path(folder or ".").resolve() != HOME, sys.path)
_here = Path.cwd()
# A folder that is a package itself is no place that modules are looked for in by their names alone.
_folders = (_here, _here / "src", _here / "tests")
_found = others([f for f in _folders if not (f / "__init__.py").exists()] + [*_before_ours])
# A folder of scene files is no package: nothing is hidden, and every project may have one.
_theirs = {name: path for name, path in _found.items() if name != "scenes" or path.is_file()}

if _theirs:

    @pytest.fixture
    def bench() -> None:
        """Says why there is none."""
        pytest.fail(f"foreglow's pytest plugin is off: {told(_theirs)}", pytrace=False)

    display = machine_time = pattern = bench
else:
    from harness.plugin import *  # noqa: F403
