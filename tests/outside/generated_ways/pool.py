"""Runs many cases on all cores."""

from __future__ import annotations

import importlib
import multiprocessing
import sys
import time
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor

from tests.outside.generated_ways.cases import Case, Judged, judged, story

PARTS = ("leds", "spi", "hidden", "firmware")


def cases(part: str) -> tuple[Case, ...]:
    found: tuple[Case, ...] = importlib.import_module(
        f"tests.outside.generated_ways.{part}"
    ).cases()
    return found


def _one(part: str, number: int) -> tuple[bool, bool, list[str], list[str], float]:
    begin = time.monotonic()
    of = judged(part, number, cases(part)[number])
    return of.detected, of.named, of.lies, of.said, time.monotonic() - begin


def run(
    part: str, numbers: Sequence[int] | None = None, workers: int = 2, progress: bool = False
) -> tuple[list[Judged], str]:
    """Every case of a part, or those of these numbers; and the stories of those that went wrong."""
    every = cases(part)
    numbers = range(len(every)) if numbers is None else numbers
    done, told = [], []
    with ProcessPoolExecutor(workers, multiprocessing.get_context("fork")) as pool:
        answers = pool.map(_one, [part] * len(numbers), numbers)
        for n, (detected, named, lies, said, took_s) in zip(numbers, answers, strict=True):
            done.append(Judged(every[n], detected, named, lies, said))
            if not done[-1].good:
                told.append(story(part, n, done[-1]))
            if progress:
                state = "good" if done[-1].good else "\n" + told[-1]
                print(f"{n} {every[n].kind}: {took_s:.1f} s {state}", file=sys.stderr, flush=True)
    return done, "\n".join(told)


def rates(done: Sequence[Judged]) -> str:
    """The counts of right and of wrong cases."""
    right = [j for j in done if j.case.quiet]
    wrong = [j for j in done if not j.case.quiet]
    return (
        f"right: {len(right)}, passed {sum(j.good for j in right)}; wrong: {len(wrong)}, detected "
        f"{sum(j.detected for j in wrong)}, named {sum(j.named for j in wrong)}; with false "
        f"statements: {sum(bool(j.lies) for j in done)}"
    )
