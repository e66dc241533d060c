"""Findings in the terminal stay readable, however many there are."""

from __future__ import annotations

import io

from rich.console import Console

from harness.report.findings import print_findings
from harness.result.finding import Finding


def printed(count: int) -> str:
    kinds = ("note", "warning", "fault")
    findings = [
        Finding("wire", f"mistake {n}", f"line {n}", "seen", "repair it", kinds[n % 3])
        for n in range(count)
    ]
    console = Console(file=io.StringIO(), width=80)
    print_findings(findings, console)
    return console.file.getvalue()


def test_of_many_findings_the_worst_come_and_the_rest_are_counted():
    out = printed(90)  # thirty of each severity
    shown = [line for line in out.splitlines() if "mistake" in line]
    assert len(shown) == 20
    assert all(line.startswith("✗") for line in shown)
    assert "… and 70 findings more, all in --json" in out


def test_few_findings_come_in_their_order():
    out = printed(20)
    assert [out.index(f"mistake {n}\n") for n in range(20)] == sorted(
        out.index(f"mistake {n}\n") for n in range(20)
    )
    assert "more" not in out
