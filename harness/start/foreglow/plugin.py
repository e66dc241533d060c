"""The pytest plugin, if no module of the project has one of foreglow's names.

If one has, as in a project that has nothing to do with LEDs, the plugin would hide that module from
the tests, or the module would hide the plugin. Then each fixture only fails with this reason.
"""

from __future__ import annotations

import sys
from itertools import takewhile
from pathlib import Path

import pytest

from foreglow import mutated
from foreglow.names import HOME, others, told

_before_ours = takewhile(lambda folder: Path(folder or ".").resolve() != HOME, sys.path)
_here = Path.cwd()
# Python does not look for top-level modules in a folder that is a package itself.
_folders = (_here, _here / "src", _here / "tests")
_found = others([f for f in _folders if not (f / "__init__.py").exists()] + [*_before_ours])
# A folder of scene files is not a package: it hides nothing, and every project may have one.
_theirs = {name: path for name, path in _found.items() if name != "scenes" or path.is_file()}

if _theirs:

    @pytest.fixture
    def bench() -> None:
        """Says why there is none."""
        pytest.fail(f"foreglow's pytest plugin is off: {told(_theirs)}", pytrace=False)

    display = machine_time = pattern = bench
else:
    mutated.install()
    from harness.plugin import *  # noqa: F403
