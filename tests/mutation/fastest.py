"""A pytest plugin that lets tests notice mutants sooner.

The fastest tests come first, and an example that fails is not made smaller.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import Phase, settings


def pytest_configure() -> None:
    """Go on with the settings of the tests, which are loaded by now, but do not shrink."""
    settings.register_profile(
        "mutation", settings.default, phases=[Phase.explicit, Phase.generate], database=None
    )
    settings.load_profile("mutation")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Sort by the times that mutmut measured; without them, leave the order."""
    try:
        took_s = json.loads(Path("mutmut-stats.json").read_text())["duration_by_test"]
    except (OSError, ValueError):
        return
    items.sort(key=lambda item: took_s.get(item.nodeid, 0.0))
