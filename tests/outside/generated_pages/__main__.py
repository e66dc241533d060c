"""`python -m tests.outside.generated_pages [N [FIRST]]` prints what goes wrong with pages and more.

N: how many pages (40). FIRST: the number of the first one (0).
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

from tests.chromium import CHROMIUM, started
from tests.outside.generated_pages import compared, failures, opened, reports, served

count = int(sys.argv[1]) if len(sys.argv) > 1 else 40
first = int(sys.argv[2]) if len(sys.argv) > 2 else 0


def told(kind: str, of: Callable[[int], list[str]], much: int) -> None:
    """Print what goes wrong in so many cases of a kind."""
    bad = 0
    for number in range(first, first + much):
        found = of(number)
        bad += bool(found)
        if found:
            print(f"{kind} {number}:\n  " + "\n  ".join(one[:900] for one in found), flush=True)
    print(f"{bad} of {much} {kind} went wrong", flush=True)


def failed(number: int) -> list[str]:
    """A page of failed tests."""
    with tempfile.TemporaryDirectory() as place:
        return failures.faults(number, Path(place))


told("pages", reports.faults, count)
told("comparisons", compared.faults, count)
told("files that are not reports", lambda _: compared.not_refused(), 1)
told("pages of failed tests", failed, count // 10)
told("doors", lambda _: served.doors(), 1)
told("pictures in browsers", served.pictures, count // 4)
told("viewers with nonsense", served.garbage, count // 10)
if CHROMIUM is not None:
    with started() as browser:
        told("pages in Chromium", lambda number: opened.faults(number, browser), count // 5)
        told("walls in Chromium", lambda number: opened.live(number, browser), 6)
