"""The list of mutants that no test noticed, kept in SURVIVORS.md: a part for each module."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from pathlib import Path

from tests.mutation.run import Mutant

WANTED = 0.90
_FOLDER = Path(__file__).parent
_LIST, _REASONS = _FOLDER / "SURVIVORS.md", _FOLDER / "equal.toml"
_HEAD = f"""# Mutants that no test noticed

Written by `python -m tests.mutation`; the reasons stand in `equal.toml`. Wanted is {WANTED:.0%}.
A mutant is one change by mutmut inside a function or method. (It leaves properties and what stands
outside functions alone.)
"""


@dataclass(frozen=True)
class Outcome:
    """How the mutants of a module fared: `made` in all, `tested` of them."""

    name: str
    made: int
    tested: tuple[Mutant, ...]

    @property
    def share(self) -> float:
        """Noticed, of those tested."""
        return sum(mutant.noticed for mutant in self.tested) / len(self.tested)

    @property
    def survivors(self) -> list[Mutant]:
        return [mutant for mutant in self.tested if not mutant.noticed]

    @property
    def line(self) -> str:
        """The outcome in words."""
        noticed = len(self.tested) - len(self.survivors)
        some = "" if self.made == len(self.tested) else f" (a sample of {self.made})"
        return f"{self.name}: {noticed} of {len(self.tested)}{some} noticed, {self.share:.1%}"


def write(outcome: Outcome) -> None:
    """Put the part of a module into the list, in place of an older one."""
    parts = _parts()
    parts[outcome.name] = "\n".join([outcome.line + ".", "", *_lines(outcome)]).rstrip() + "\n"
    _LIST.write_text(
        _HEAD + "".join(f"\n## {name}\n\n{parts[name]}" for name in sorted(parts)), "utf-8"
    )


def _parts() -> dict[str, str]:
    if not _LIST.exists():
        return {}
    found = re.split(r"\n## (.+)\n\n", _LIST.read_text("utf-8"))[1:]
    return dict(zip(found[::2], found[1::2], strict=True))


def _lines(outcome: Outcome) -> list[str]:
    reasons = tomllib.loads(_REASONS.read_text("utf-8")).get(outcome.name, [])
    lines = []
    for mutant in outcome.survivors:
        why = [r["why"] for r in reasons if _is(mutant, r)]
        called = "" if mutant.end == "survived" else " (no test calls it)"
        lines += [
            f"- `{mutant.function}`{called}: {why[0] if why else 'not explained'}",
            f"  - was `{mutant.was}`",
            f"  - now `{mutant.now}`",
        ]
    return lines


def _is(mutant: Mutant, reason: dict[str, str]) -> bool:
    """Whether a reason is about a mutant: its function ends so, and its lines hold these words."""
    return (
        mutant.function.endswith(reason["function"])
        and reason.get("was", "") in mutant.was
        and reason.get("now", "") in mutant.now
    )
