"""Runs many cases on all cores."""

from __future__ import annotations

import importlib
import multiprocessing
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor

PARTS = ("captures", "power", "supplies", "light")


def _one(part: str, number: int) -> tuple[list[str], str]:
    module = importlib.import_module(f"tests.outside.generated_physical.{part}")
    found = module.faults(number)
    return found, module.story(number) if found else ""


def run(part: str, numbers: Sequence[int], workers: int = 2, progress: bool = False) -> list[str]:
    """A line for each case that went wrong."""
    told = []
    with ProcessPoolExecutor(workers, multiprocessing.get_context("fork")) as pool:
        answers = pool.map(_one, [part] * len(numbers), numbers)
        for n, (found, story) in zip(numbers, answers, strict=True):
            if found:
                told.append(f"{part} {n}, {story}: " + "; ".join(found))
                if progress:
                    print(told[-1], file=sys.stderr, flush=True)
    return told
