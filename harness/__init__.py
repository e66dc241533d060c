"""Replays test patterns through code under test, and explains what is wrong.

In a test or a script:

    report = harness.check(display, to_wire)    # what `foreglow check` does
    report.verdict                              # 'pass', 'warning' or 'fail'
    for finding in report.findings:             # what, where, evidence, remedy, severity
        print(finding.what)
    report.figures["map"]["leds_right"]         # figures by check and name
    report.to_json()                            # the same as `foreglow check --json` prints

`harness.assertions` has `assert_map` and `assert_right`, which fail a test in the same words.
Other modules are told about in DEVELOPERS.md.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from harness.checking import check
    from harness.checks.check import Report, Result
    from harness.finding import Finding
    from harness.patterns import Pattern

__all__ = ["Finding", "Pattern", "Report", "Result", "check"]

_HOMES = {
    "Finding": "harness.finding",
    "Pattern": "harness.patterns",
    "Report": "harness.checks.check",
    "Result": "harness.checks.check",
    "check": "harness.checking",
}


def __getattr__(name: str) -> Any:
    """Import what is asked for when it is asked for (PEP 562): most users need little of it."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    import importlib

    return getattr(importlib.import_module(_HOMES[name]), name)
