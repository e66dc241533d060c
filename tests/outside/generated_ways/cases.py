"""A case and its truth, and how to judge what foreglow says about it."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from tests.outside.generated.cases import statements
from tests.outside.generated.run import ROOT, Report, check
from tests.outside.generated.walls import Array
from tests.outside.generated.words import Said, groups
from tests.outside.generated_ways.walls import Wall

CHECKS = "timing,wire,map,colour,levels"  # those that judge code; patterns say the same again


@dataclass(frozen=True)
class Case:
    """One case and its truth."""

    kind: str
    wall: Wall
    truth: str  # in words
    arguments: tuple[str, ...] = ()  # of `foreglow check wall.toml`
    build: Callable[[], Any] | None = None  # the function under test
    files: dict[str, str] = field(default_factory=dict)
    quiet: bool = False  # right code: no fault, no warning
    named: tuple[Said, ...] = ()  # each must be said by one finding
    wrong: Array | None = None  # (N,) LEDs that do not show what they should
    blamed: tuple[str, ...] = ()  # checks that may find a fault; () : any
    figures: Callable[[Report], list[str]] | None = None  # figures that are false
    exits: tuple[int, ...] = (1,)
    own: Callable[[Case], tuple[bool, bool, list[str], str]] | None = None  # judged on its own


@dataclass
class Judged:
    """The verdict on one answer."""

    case: Case
    detected: bool
    named: bool
    lies: list[str]
    said: list[str]

    @property
    def good(self) -> bool:
        return self.detected and self.named and not self.lies


def run(part: str, number: int, case: Case) -> Report:
    """Have foreglow check a case; its function comes from a module that makes all cases."""
    files, arguments = case.wall.files | case.files, case.arguments
    if case.build:
        module = f"generated_{part}_{number}"
        files[f"{module}.py"] = (
            f"import sys\nsys.path.append({str(ROOT)!r})\n"
            f"from tests.outside.generated_ways.{part} import cases\n"
            f"fill = cases()[{number}].build()\n"
        )
        arguments = (*arguments, f"{module}:fill")
    return check(case.wall.toml, *arguments, files=files, only=CHECKS)


def judge(case: Case, report: Report) -> tuple[bool, bool, list[str]]:
    """(detected, named, false statements)."""
    loud = [f for f in report.findings if f["severity"] in ("fault", "warning")]
    lies = case.figures(report) if case.figures else []
    if case.quiet:
        lies += [f"{f['severity']}: {f['what']} | {f['evidence']}" for f in loud]
        if report.status != 0:
            lies.append(f"exit {report.status}: {report.out[-400:]}")
        return not lies, True, lies
    every = [
        " | ".join(f.get(k, "") for k in ("what", "where", "evidence", "remedy"))
        for f in report.findings
    ]
    every.append(re.sub(r"\s+", " ", report.out))
    detected = report.status in case.exits
    named = all(any(said(text) for text in every) for said in case.named)
    if case.wrong is not None:
        lies += group_lies(case.wall, case.wrong, statements(report))
    if case.blamed:
        lies += [f"{f['check']} is right: {f['what']} | {f['evidence']}" for f in loud
                 if f["check"] not in case.blamed]  # fmt: skip
    if "Traceback" in report.out and "foreglow" in report.out.rsplit("Traceback", 1)[1][:400]:
        lies.append(report.out[-600:])
    return detected, named and detected, lies


def group_lies(wall: Wall, wrong: Array, texts: list[str]) -> list[str]:
    """Statements that name a group of LEDs less than half of which is wrong."""
    lies = []
    for text in texts:
        for name, leds in groups(text, wall):
            if np.mean(wrong[leds]) < 0.5:
                lies.append(f"{name!r}: {wrong[leds].sum()} of {len(leds)} are wrong | {text}")
    return lies


def judged(part: str, number: int, case: Case) -> Judged:
    """Run and judge one case."""
    if case.own:
        detected, named, lies, said = case.own(case)
        return Judged(case, detected, named, lies, [said])
    report = run(part, number, case)
    said = [f"{f['severity']}, {f['check']}: {f['what']} ({f['evidence']})"
            for f in report.findings]  # fmt: skip
    if report.out:
        said.append("printed: " + report.out.strip()[-500:])
    return Judged(case, *judge(case, report), said)


def story(part: str, number: int, of: Judged) -> str:
    """What is true, what was said, and how to see it again."""
    case = of.case
    lines = [
        f"- `python -m tests.outside.generated_ways {part} {number} {number + 1}` "
        f"({case.wall.name}): {case.kind}; true: {case.truth}",
        f"  - detected {of.detected}, named {of.named}",
        *(f"  - FALSE: {lie}" for lie in of.lies[:4]),
        *(f"  - said: {re.sub(chr(10), ' ', s)[:400]}" for s in of.said[:6]),
    ]
    return "\n".join(lines)
