"""What one check found, and its verdict."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

from harness.result.finding import Finding

Verdict = Literal["pass", "cannot tell", "warning", "fail"]


@dataclass(frozen=True)
class Result:
    """What one check found.

    check: its name. summary: one line to read. figures: what it measured, by name; JSON types, the
    unit at the end of the name. explained_by: earlier checks whose findings explain what is wrong
    here, so this one reports none. judged: False if the check did not run because its measurements
    would prove nothing.
    """

    check: str
    summary: str
    findings: tuple[Finding, ...] = ()
    figures: Mapping[str, Any] = field(default_factory=dict)
    explained_by: tuple[str, ...] = ()
    judged: bool = True

    @property
    def verdict(self) -> Verdict:
        """'cannot tell' if nothing was judged; else by the worst finding.

        'fail' for a fault, or if earlier checks explain what is wrong here; 'warning' for a
        warning; 'pass' otherwise.
        """
        if not self.judged:
            return "cannot tell"
        return "fail" if self.explained_by else verdict_of(self.findings)


def verdict_of(findings: Sequence[Finding]) -> Verdict:
    """The verdict that findings make: 'fail' for a fault, 'warning' for a warning, else 'pass'."""
    severities = {finding.severity for finding in findings}
    return "fail" if "fault" in severities else "warning" if "warning" in severities else "pass"
