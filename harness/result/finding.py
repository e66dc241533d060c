"""A finding: what is wrong, where, what shows it, and what to do."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Severity = Literal["fault", "warning", "note"]


@dataclass(frozen=True)
class Finding:
    """One thing that a check found.

    check: name of the check. what: the finding in one sentence. where: the part of the display
    that it affects ('rows 1, 3, 5', 'line 0, LED 17'). evidence: the observations that show it.
    remedy: what to do. severity: a 'fault' makes the verdict 'fail', a 'warning' makes it
    'warning', a 'note' does not change it.
    """

    check: str
    what: str
    where: str
    evidence: str
    remedy: str
    severity: Severity = "fault"
