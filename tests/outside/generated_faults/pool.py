"""Runs cases of a part, one after the other, and counts."""

from __future__ import annotations

import importlib
import traceback
from collections.abc import Iterable
from dataclasses import dataclass, field

import emulator

PARTS = ("data", "powered", "signals", "sometimes", "invalid", "projects")


@dataclass
class Done:
    """How many cases were judged, how many tell nothing, and the stories of those that differ."""

    judged: int = 0
    untold: int = 0
    wrong: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        head = f"{self.judged} cases, {self.untold} left out, {len(self.wrong)} differ"
        return "\n".join([head, *self.wrong])


def run(part: str, numbers: Iterable[int]) -> Done:
    """The cases of these numbers."""
    module = importlib.import_module(f"tests.outside.generated_faults.{part}")
    done = Done()
    for n in numbers:
        try:
            said = module.wrong(n)
        except emulator.ForeglowError as error:
            said = [f"refused: {error}"]
        except Exception:
            said = [traceback.format_exc()]
        if said is None:
            done.untold += 1
            continue
        done.judged += 1
        if said:
            done.wrong.append(f"- {part} {n}: {module.story(n)}\n    " + "\n    ".join(said))
    return done
