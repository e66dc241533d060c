"""Runs one case and prints what is true and what was said; or all cases of a part."""

from __future__ import annotations

import importlib
import sys

from tests.outside.generated.cases import judge, run, story
from tests.outside.generated.pool import run_all


def main() -> None:
    part, *numbers = sys.argv[1:]
    cases = importlib.import_module(f"tests.outside.generated.{part}").cases()
    if not numbers:
        print(run_all(part, progress=True).full)
        return
    for n in map(int, numbers):
        print(story(part, n, judge(cases[n], run(part, n, cases[n]))))


main()
