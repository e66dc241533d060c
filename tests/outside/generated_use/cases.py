"""A case: a number picks the kind and draws all that it needs; it returns complaints."""

from __future__ import annotations

import importlib
import random
import shutil
import tempfile
import traceback
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

PARTS = ("show", "files", "escapes", "network", "guests")

Kind = Callable[[random.Random, Path], list[str]]
"""Tries one thing in a folder of its own; says what is not as the requirement has it."""


@dataclass(frozen=True)
class Outcome:
    part: str
    number: int
    kind: str
    complaints: list[str]

    def __str__(self) -> str:
        told = "".join(f"\n    {c}" for c in self.complaints) if self.complaints else " good"
        return f"{self.part} {self.number} {self.kind}:{told}"


def kinds(part: str) -> tuple[Kind, ...]:
    """All kinds of a part, in the order in which the numbers go through them."""
    found: tuple[Kind, ...] = importlib.import_module(f"tests.outside.generated_use.{part}").KINDS
    return found


def case(part: str, number: int) -> Outcome:
    """Run case `number` of `part` in a fresh folder, which is deleted if all is good."""
    every = kinds(part)
    kind = every[number % len(every)]
    folder = Path(tempfile.mkdtemp(prefix=f"{part}-{number}-"))
    try:
        complaints = kind(random.Random(f"{part} {number}"), folder)
    except Exception:  # a case that cannot be judged is not good
        complaints = [traceback.format_exc()]
    if complaints:
        complaints = [*complaints, f"kept: {folder}"]
    else:
        shutil.rmtree(folder, ignore_errors=True)
    return Outcome(part, number, kind.__name__.strip("_"), complaints)
