"""What all checks of one trial found, and the verdict on it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, get_args

from harness.result.finding import Finding
from harness.result.result import Result, Verdict


@dataclass(frozen=True)
class Report:
    """All checks of one trial.

    display, subject: names of the display and of the code under test. results: one for each check
    that ran, in their order.
    """

    display: str
    subject: str
    results: tuple[Result, ...]

    @property
    def verdict(self) -> Verdict:
        """The worst of the checks. `foreglow check` exits with 0 for 'pass' and 1 for others."""
        return max((r.verdict for r in self.results), key=get_args(Verdict).index, default="pass")

    @property
    def findings(self) -> tuple[Finding, ...]:
        """The findings of all checks, in their order."""
        return tuple(f for result in self.results for f in result.findings)

    @property
    def figures(self) -> Mapping[str, Mapping[str, Any]]:
        """What each check measured, by check and name, with its `verdict`."""
        return {r.check: {"verdict": r.verdict, **r.figures} for r in self.results}

    def to_json(self) -> dict[str, Any]:
        """display, subject, verdict, findings[] and figures by check, as JSON types."""
        return {
            "display": self.display,
            "subject": self.subject,
            "verdict": self.verdict,
            "findings": [finding.to_json() for finding in self.findings],
            "figures": dict(self.figures),
        }
