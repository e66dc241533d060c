"""The report of `foreglow check` in the terminal."""

from __future__ import annotations

from collections import Counter

import numpy as np
from numpy.typing import NDArray
from rich import box
from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from emulator.description.display import Display
from emulator.power.wire import CAUTION
from harness.report.findings import print_findings
from harness.report.picture import colour_picture
from harness.result.report import Report
from harness.result.result import Verdict
from harness.result.words import many

_STYLE: dict[Verdict, str] = {
    "pass": "bold green",
    "cannot tell": "yellow",
    "warning": "bold yellow",
    "fail": "bold red",
}
WORD: dict[Verdict, str] = {
    "pass": "right",
    "cannot tell": "cannot tell",
    "warning": "doubtful",
    "fail": "wrong",
}


def print_report(
    report: Report,
    display: Display,
    meant: NDArray[np.float32],
    shown: NDArray[np.float32],
    console: Console,
) -> None:
    """Print the wall, the table of verdicts and the findings.

    meant, shown: linear light (rows, columns, 3) of one picture; both are drawn when they differ.
    """
    console.print(
        Text.assemble(
            (display.name, "bold"),
            f"  {display.in_words}\n",
            (f"checked: {report.subject}", "dim"),
        )
    )
    console.print(_walls(display, meant, shown, console.width))
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column("check", no_wrap=True)
    table.add_column("verdict", no_wrap=True)
    table.add_column("what was seen")
    for result in report.results:
        table.add_row(
            result.check,
            Text(WORD[result.verdict], style=_STYLE[result.verdict]),
            Text(result.summary),
        )
    console.print(table)
    sizes = print_findings(report.findings, console)
    if sizes or any(result.check == "power" for result in report.results):
        console.print(Text(f"{CAUTION}\n", "yellow"))
    console.print(closing(report, display))


def closing(report: Report, display: Display) -> Text:
    """The verdict in a line. Faults of the wall that none of the checks shows are named as such."""
    counts = Counter(finding.severity for finding in report.findings)

    faults, warnings = many(counts["fault"], "fault"), many(counts["warning"], "warning")
    if counts["fault"] and counts["warning"]:
        return Text(f"{faults} and {warnings} found.", style=_STYLE["fail"])
    if counts["fault"]:
        return Text(f"{faults} found.", style=_STYLE["fail"])
    if counts["warning"]:
        return Text(f"No fault, {warnings}.", style=_STYLE["warning"])
    right = "Everything is right."
    if display.faults:
        right = "No check finds what is wrong with the wall as built."
    closing = Text(right, style=_STYLE["warning" if display.faults else "pass"])
    if counts["note"]:
        closing.append(f" {many(counts['note'], 'remark')} above.", style="default")
    return closing


def _walls(
    display: Display, meant: NDArray[np.float32], shown: NDArray[np.float32], width: int
) -> RenderableType:
    columns = display.grid.columns
    if columns > width:
        return Text(f"(the wall is {columns} columns wide: the picture is in the contact sheet)")
    picture = colour_picture(shown, display.gap)
    if np.allclose(meant, shown, atol=0.02):
        return Padding(picture, (1, 0, 0, 0))
    both = [
        Group(Text("meant", style="dim"), colour_picture(meant, display.gap)),
        Group(Text("shown", style="dim"), picture),
    ]
    if 2 * columns + 4 <= width:
        grid = Table.grid(padding=(0, 4, 0, 0))
        grid.add_row(*both)
        return Padding(grid, (1, 0, 0, 0))
    return Group(Text(""), *both)
