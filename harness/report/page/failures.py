"""The page of failed tests: what was expected, what was shown, and how to run each again."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from harness.report.page.page import Failed, Page
from harness.result.words import many


def failures_page(failures: Sequence[tuple[Failed, dict[str, Any]]]) -> Page:
    """A page of failed tests, each with the layout of its wall; equal walls have one map."""
    walls: list[dict[str, Any]] = []
    failed = []
    for one, wall in failures:
        if wall not in walls:
            walls.append(wall)
        failed.append((one, walls.index(wall)))
    return Page(
        kind="pytest",
        title="Tests of the wall",
        verdict="fail",
        sentence=f"{many(len(failed), 'failed test')}.",
        facts="Each square is a cell, seen from the front. Columns and rows are numbered from 0. A"
        " frame marks the cell that the message names.",
        walls=walls,
        failed=failed,
    )
