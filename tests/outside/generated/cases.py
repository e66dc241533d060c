"""A wrong function or map, the truth about it, and how to judge what foreglow reports."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from tests.outside.generated.run import ROOT, Report, check
from tests.outside.generated.walls import Array, Wall
from tests.outside.generated.words import Said, groups

ToWire = Callable[[Array], Any]


@dataclass(frozen=True)
class Case:
    """One case and its truth."""

    kind: str
    wall: Wall
    truth: str  # in words
    build: Callable[[], ToWire]  # the function under test, its state new
    named: tuple[Said, ...] = ()  # each must be said by one finding
    wrong: Array | None = None  # (N,) LEDs that do not show what they should; None: all
    lies: Callable[[Case, Report], list[str]] | None = None  # further false statements
    otherwise: Callable[[Case, Report], bool] | None = None  # named in other words
    style: str = "call"  # or map, program
    csv: str = ""
    program: str = ""
    apart: bool = False
    quiet: bool = False  # right code: no fault, no warning
    remark: bool = False  # a remark is enough
    exits: tuple[int, ...] = (1,)  # exit statuses that say it was seen
    files: dict[str, str] = field(default_factory=dict)
    only: str | None = None
    notes: dict[str, Any] = field(default_factory=dict)


@dataclass
class Judged:
    """The verdict on one answer."""

    case: Case
    report: Report
    detected: bool
    named: bool
    lies: list[str]

    @property
    def good(self) -> bool:
        return self.detected and self.named and not self.lies


def run(part: str, number: int, case: Case) -> Report:
    """Have foreglow check a case, by a file that imports it."""
    if case.style == "map":
        return check(case.wall.toml, "--map", "theirs.csv", files={"theirs.csv": case.csv},
                     only=case.only)  # fmt: skip
    if case.style == "program":
        return check(
            case.wall.toml,
            *("--program", case.program),
            *("--address", f"e131://127.0.0.1:{6000 + number}"),  # cases run side by side
            files=case.files,
            apart=True,
            only=case.only,
        )
    module = f"generated_{part}_{number}"
    text = (
        f"import sys\nsys.path.append({str(ROOT)!r})\n"
        f"from tests.outside.generated.{part} import cases\n"
        f"to_wire = cases()[{number}].build()\n"
    )
    return check(case.wall.toml, "--call", f"{module}:to_wire", files={f"{module}.py": text},
                 apart=case.apart, only=case.only)  # fmt: skip


def group_lies(case: Case, texts: Sequence[str]) -> list[str]:
    """Statements that name a group of LEDs less than half of which is wrong."""
    wrong = np.ones(case.wall.leds, bool) if case.wrong is None else case.wrong
    lies = []
    for text in texts:
        for name, leds in groups(text, case.wall):
            if np.mean(wrong[leds]) < 0.5:
                lies.append(f"{name!r}: {np.sum(wrong[leds])} of {len(leds)} are wrong | {text}")
    return lies


def statements(report: Report, *severities: str) -> list[str]:
    """What and where of each finding, where the group stands."""
    return [
        f["what"] if f["where"].lower() in f["what"].lower() else f"{f['what']} [{f['where']}]"
        for f in report.findings
        if not severities or f["severity"] in severities
    ]


def judge(case: Case, report: Report) -> Judged:
    every = [
        " | ".join(f.get(k, "") for k in ("what", "where", "evidence", "remedy"))
        for f in report.findings
    ]
    loud = [f for f in report.findings if f["severity"] in ("fault", "warning")]
    if case.quiet:
        said = [f"{f['severity']}: {f['what']} | {f['evidence']}" for f in loud]
        if report.status != 0 and not said:
            said = [f"exit {report.status}: {report.out[-300:]}"]
        return Judged(case, report, not said, True, said)
    every.append(report.out)
    detected = report.status in case.exits or bool(case.remark and report.findings)
    named = all(any(said(text) for text in every) for said in case.named)
    named = named or bool(case.otherwise and case.otherwise(case, report))
    lies = group_lies(case, [f["what"] for f in report.findings])
    lies += case.lies(case, report) if case.lies else []
    return Judged(case, report, detected, named and detected, lies)


def rates(judged: Sequence[Judged]) -> str:
    """The rates of each kind."""
    rows = [f"{'kind':34} cases detected named false"]
    for kind in dict.fromkeys(j.case.kind for j in judged):
        of = [j for j in judged if j.case.kind == kind]
        rows.append(_row(kind, of))
    return "\n".join([*rows, _row("all", judged)])


def _row(kind: str, of: Sequence[Judged]) -> str:
    count = Counter(detected=0, named=0, false=0)
    for j in of:
        count.update(detected=j.detected, named=j.named, false=bool(j.lies))
    return f"{kind:34} {len(of):5} {count['detected']:8} {count['named']:5} {count['false']:5}"


def story(part: str, number: int, judged: Judged) -> str:
    """A failing case: what is true, what was said, and how to see it again."""
    case = judged.case
    lines = [
        f"- `python -m tests.outside.generated {part} {number}` ({case.wall.name}): "
        f"**{case.kind}**; true: {case.truth}",
        f"  - detected {judged.detected}, named {judged.named}, exit {judged.report.status}",
    ]
    lines += [f"  - FALSE: {lie}" for lie in judged.lies[:4]]
    said = [f"{f['severity']}: {f['what']} ({f['evidence']})" for f in judged.report.findings]
    lines += ["  - said: " + re.sub(r"\s+", " ", s)[:260] for s in said[:5]]
    if len(said) > 5:
        lines.append(f"  - … and {len(said) - 5} findings more")
    if not said and judged.report.out:
        lines.append(f"  - printed: {judged.report.out.strip()[-300:]}")
    return "\n".join(lines)
