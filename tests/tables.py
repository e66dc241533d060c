"""Long tables of cases: a few important rows in the default run, the others in the slow run."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

import pytest


def telling(rows: Iterable[Any], fast: Callable[[Any], bool]) -> list[Any]:
    """The rows for `pytest.mark.parametrize`, those marked slow that are not `fast`."""
    rows = list(rows)
    assert any(map(fast, rows)), "no row is left for the default run"
    return [row if fast(row) else _slow(row) for row in rows]


def _slow(row: Any) -> Any:
    return pytest.param(*(row if isinstance(row, tuple) else (row,)), marks=pytest.mark.slow)
