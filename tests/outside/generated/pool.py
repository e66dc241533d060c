"""Runs many cases on all cores."""

from __future__ import annotations

import importlib
import multiprocessing
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

from tests.outside.generated.cases import Case, Judged, judge, rates, run, story
from tests.outside.generated.run import Report, checks

WORKERS = 2


@dataclass
class Outcome:
    """What came of all cases of a part."""

    part: str
    numbers: list[int]
    judged: list[Judged]

    @property
    def rates(self) -> str:
        return rates(self.judged)

    @property
    def failures(self) -> str:
        return "\n".join(
            story(self.part, n, j)
            for n, j in zip(self.numbers, self.judged, strict=True)
            if not j.good
        )

    @property
    def full(self) -> str:
        return f"{self.failures}\n\n{self.rates}"


def _one(part: str, number: int) -> Report:
    begin = time.monotonic()
    report = run(part, number, _cases(part)[number])
    report.took_s = time.monotonic() - begin
    return report


def _cases(part: str) -> tuple[Case, ...]:
    return importlib.import_module(f"tests.outside.generated.{part}").cases()


def run_all(part: str, step: int = 1, progress: bool = False) -> Outcome:
    """Run every `step`-th case of a part; the judging is done here, in one place."""
    numbers = range(0, len(_cases(part)), step)
    checks()  # asked once, here, for all workers
    with ProcessPoolExecutor(WORKERS, multiprocessing.get_context("fork")) as pool:
        reports = pool.map(_one, [part] * len(numbers), numbers)
        cases = _cases(part)
        judged = []
        for n, report in zip(numbers, reports, strict=True):
            judged.append(judge(cases[n], report))
            if progress:
                print(f"{n} {cases[n].kind}: {report.took_s:.1f} s", file=sys.stderr, flush=True)
    return Outcome(part, numbers, judged)
