"""A finding: what is wrong, where, what shows it, and what to do."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Severity = Literal["fault", "warning", "note"]


@dataclass(frozen=True)
class Finding:
    """One thing a check found.

    check: name of the check. what: the finding in one sentence. where: the part of the display
    it concerns ('rows 1, 3, 5', 'line 0, LED 17'). evidence: what was seen that shows it.
    remedy: what to do. severity: a 'fault' makes the verdict fail; a 'warning' or 'note' does not.
    """

    check: str
    what: str
    where: str
    evidence: str
    remedy: str
    severity: Severity = "fault"
