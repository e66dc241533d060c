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
_ENTRY = re.compile(
    r"(?P<head>- `(?P<function>.*?)`(?P<called>.*?): .*)\n"
    r"  - was `(?P<was>.*)`\n  - now `(?P<now>.*)`"
)
_HEAD = f"""# Mutants that no test noticed

Written by `python -m tests.mutation`; the reasons stand in `equal.toml`. Wanted is {WANTED:.0%}.
A mutant is one change by mutmut inside a function or method. (It leaves properties and what stands
outside functions alone.)
"""


@dataclass(frozen=True)
class Outcome:
    """The results for the mutants of a module: `made` in all, `tested` of them."""

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
        endless = sum(mutant.end == "timeout" for mutant in self.tested)
        never = f"; {endless} of them never ended" if endless else ""
        return (
            f"{self.name}: {noticed} of {len(self.tested)}{some} noticed, {self.share:.1%}{never}"
        )


def write(outcome: Outcome | None = None) -> None:
    """Put the part of a module into the list, in place of an older one; the reasons as of now."""
    parts = _parts()
    if outcome is not None:
        told = [line for mutant in outcome.survivors for line in _lines(mutant)]
        parts[outcome.name] = "\n".join([outcome.line + ".", "", *told]).rstrip() + "\n"
    for name, part in parts.items():
        parts[name] = _ENTRY.sub(lambda found, name=name: _with_reason(name, found), part)
    _LIST.write_text(
        _HEAD + "".join(f"\n## {name}\n\n{parts[name]}" for name in sorted(parts)), "utf-8"
    )


def unneeded() -> list[str]:
    """Reasons without a mutant on the list: theirs are noticed, gone or not run."""
    parts = _parts()
    return [
        f"{module}: {reason['why']}"
        for module, reasons in _reasons().items()
        for reason in reasons
        if f": {reason['why']}\n" not in parts.get(module, "")
    ]


def _reasons() -> dict[str, list[dict[str, str]]]:
    return tomllib.loads(_REASONS.read_text("utf-8"))


def _parts() -> dict[str, str]:
    if not _LIST.exists():
        return {}
    found = re.split(r"\n## (.+)\n\n", _LIST.read_text("utf-8"))[1:]
    return dict(zip(found[::2], found[1::2], strict=True))


def _lines(mutant: Mutant) -> list[str]:
    """A survivor as the list has it, without its reason."""
    called = "" if mutant.end == "survived" else " (no test calls it)"
    return [
        f"- `{mutant.function}`{called}: ?",
        f"  - was `{mutant.was}`",
        f"  - now `{mutant.now}`",
    ]


def _with_reason(module: str, found: re.Match[str]) -> str:
    """An entry of the list with the first reason that names its function and parts of its lines."""
    reasons = _reasons().get(module, [])
    why = [
        reason["why"]
        for reason in reasons
        if found["function"].endswith(reason.get("function", ""))
        and reason.get("was", "") in found["was"]
        and reason.get("now", "") in found["now"]
    ]
    told = why[0] if why else "not explained"
    return found[0].replace(found["head"], f"- `{found['function']}`{found['called']}: {told}", 1)
