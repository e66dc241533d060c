"""Holds a saved run against an older one: findings that are new, gone or different, and figures."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from typing import Any, get_args

from emulator.errors import ForeglowError
from harness.report.changes.saved import Saved
from harness.result.result import Verdict

_SAME = 1e-3  # of the larger value: smaller changes of a figure do not show in print
# What the machine did, which differs from run to run, by the last words of its name.
_OF_MACHINE = ("median_ms", "worst_ms", "first_ms", "slowest_s", "early_bytes", "late_bytes")

# '1', '1.5', '1, 3 and 5', '2 to 7', '1, 3, 5 … 19', as `harness.result.words` writes them.
_NUMBERS = re.compile(r"\d[\d.,]*(?:(?: and| to| …)? \d[\d.,]*)*")

_Finding = dict[str, str]


@dataclass(frozen=True)
class Changes:
    """What changed from one run to a newer one.

    new, gone: findings. changed: (before, after) of findings whose evidence, place or severity is
    another. figures: (path, before, after); of_machine: the same of what the machine measured,
    which differs from run to run. before or after is None for a figure that only one run has.
    """

    verdict: tuple[str, str]
    new: tuple[_Finding, ...]
    gone: tuple[_Finding, ...]
    changed: tuple[tuple[_Finding, _Finding], ...]
    figures: tuple[tuple[str, Any, Any], ...]
    of_machine: tuple[tuple[str, Any, Any], ...]

    @property
    def worse(self) -> bool:
        """Whether the verdict is worse, or a fault or a warning is new or graver."""
        order = [*get_args(Verdict)]
        before, after = (order.index(one) if one in order else 0 for one in self.verdict)
        graver = any(_rank(b) > _rank(a) for a, b in self.changed)
        return after > before or graver or any(_rank(one) for one in self.new)

    @property
    def none(self) -> bool:
        """Whether nothing changed but what the machine measured."""
        same = self.verdict[0] == self.verdict[1]
        return same and not (self.new or self.gone or self.changed or self.figures)

    def to_json(self) -> dict[str, Any]:
        """All of it as JSON types, with `worse`."""
        return {"worse": self.worse, **asdict(self)}


def changes(old: Saved, new: Saved) -> Changes:
    """What changed. Raises ForeglowError if different commands printed the two."""
    if old.kind != new.kind:
        told = " and ".join(f"{one.path} of {one.kind or 'another command'}" for one in (old, new))
        raise ForeglowError(
            f"these are reports of different commands: {told}",
            fix="compare two reports of the same command.",
        )
    left, changed, added = list(old.findings), [], []
    for one in new.findings:
        before = _counterpart(one, left)
        if before is None:
            added.append(one)
            continue
        left.remove(before)
        if before != one:
            changed.append((before, one))
    figures = list(_figures(old.figures, new.figures))
    return Changes(
        (old.verdict, new.verdict),
        tuple(added),
        tuple(left),
        tuple(changed),
        tuple(one for one in figures if not one[0].endswith(_OF_MACHINE)),
        tuple(one for one in figures if one[0].endswith(_OF_MACHINE)),
    )


def _counterpart(one: _Finding, others: list[_Finding]) -> _Finding | None:
    """The finding of another run that says the same, perhaps with other numbers or places."""
    for told_as in (_all, _said, _about):
        for other in others:
            if told_as(one) == told_as(other):
                return other
    return None


def _all(one: _Finding) -> object:
    return sorted(one.items())


def _said(one: _Finding) -> object:
    return one["check"], one["what"]


def _about(one: _Finding) -> object:
    return one["check"], _NUMBERS.sub("#", one["what"])


def _figures(old: dict[str, Any], new: dict[str, Any]) -> Iterable[tuple[str, Any, Any]]:
    for path in [*old, *(path for path in new if path not in old)]:
        before, after = old.get(path), new.get(path)
        if not _equal(before, after):
            yield path, before, after


def _equal(one: Any, other: Any) -> bool:
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(map(_equal, one, other))
    numbers = all(isinstance(v, int | float) and not isinstance(v, bool) for v in (one, other))
    return math.isclose(one, other, rel_tol=_SAME) if numbers else one == other


def _rank(finding: _Finding) -> int:
    return {"fault": 2, "warning": 1}.get(finding["severity"], 0)
