"""Findings in the terminal: what, where, what was seen, how to fix it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from rich.console import Console
from rich.padding import Padding
from rich.text import Text

from emulator.power.wire import CAUTION
from harness.result.finding import Finding, Severity
from harness.result.words import many

# Beside the words: colour is never the only sign.
SIGNS: Mapping[str, str] = {"fault": "✗", "warning": "!", "note": "·"}
_STYLES: dict[Severity, str] = {"fault": "bold red", "warning": "yellow", "note": "cyan"}
_MOST_EVIDENCE = 4
_MOST_FINDINGS = 20


def print_findings(findings: Sequence[Finding], console: Console) -> bool:
    """Print findings, without the caution that their remedies may end with; of many, the worst.

    Returns whether any remedy had one: the caller prints it once.
    """
    shown = findings
    if len(findings) > _MOST_FINDINGS:
        shown = sorted(findings, key=lambda f: [*SIGNS].index(f.severity))[:_MOST_FINDINGS]
    for finding in shown:
        sign = f"{SIGNS[finding.severity]} ", _STYLES[finding.severity]
        console.print(Text.assemble(sign, (finding.what, "bold")))
        body = Text.assemble(
            ("where    ", "dim"), finding.where, "\n",
            ("seen     ", "dim"), _shortened(finding.evidence), "\n",
            ("fix      ", "dim"), finding.remedy.removesuffix(CAUTION).rstrip(),
        )  # fmt: skip
        console.print(Padding(body, (0, 0, 1, 2), expand=False))
    if len(findings) > len(shown):
        rest = len(findings) - len(shown)
        console.print(Text(f"… and {many(rest, 'finding')} more, all in --json\n", "bold"))
    return any(finding.remedy.endswith(CAUTION) for finding in findings)


def _shortened(evidence: str) -> str:
    """The first parts of long evidence; --json has all of it."""
    things = evidence.split("; ")
    if len(things) <= _MOST_EVIDENCE:
        return evidence
    rest = len(things) - _MOST_EVIDENCE
    return "; ".join(things[:_MOST_EVIDENCE]) + f"; … and {rest} more, all in --json"
