"""What changed since an older run, for the terminal."""

from __future__ import annotations

from typing import Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from harness.report.changes.changes import Changes
from harness.report.changes.saved import Saved
from harness.report.findings import SIGNS
from harness.result.words import joined, listed, many

_MOST_FIGURES = 40  # printed; --json has all
_MOST_VALUES = 12  # of a list of numbers
_WORDS = ("severity", "where", "evidence", "remedy")


def print_changes(old: Saved, new: Saved, found: Changes, console: Console) -> None:
    """Print what is new, gone and different, the figures, and whether it is worse."""
    for name in ("display", "subject"):
        before, after = getattr(old, name), getattr(new, name)
        if before != after:
            console.print(
                Text(f"The {name} is another one: {before or 'none'} → {after or 'none'}", "yellow")
            )
    _findings("New", found.new, console, "bold red")
    _findings("Gone", found.gone, console, "bold green")
    if found.changed:
        console.print("Changed", style="bold")
        for before, after in found.changed:
            console.print(Text(_line(after)))
            if before["what"] != after["what"]:
                console.print(Text(f"      before: {before['what']}", "dim"))
            for word in _WORDS:
                if before[word] != after[word]:
                    console.print(Text(f"      {word}: {before[word]} → {after[word]}", "dim"))
    _figures("Figures", found.figures, console)
    _figures("Measured on the machine, so they differ each time", found.of_machine, console)
    console.print(_closing(found))


def _findings(
    title: str, findings: tuple[dict[str, str], ...], console: Console, style: str
) -> None:
    if not findings:
        return
    console.print(title, style=style)
    for one in findings:
        console.print(Text(f"{_line(one)} ({one['check']})"))
        if title == "New":
            console.print(Text(f"      where: {one['where']}", "dim"))
            console.print(Text(f"      fix: {one['remedy']}", "dim"))


def _line(finding: dict[str, str]) -> str:
    """The sign of its severity and the sentence."""
    return f"  {SIGNS[finding['severity']]} {finding['what']}"


def _figures(title: str, figures: tuple[tuple[str, Any, Any], ...], console: Console) -> None:
    if not figures:
        return
    console.print(title, style="bold")
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), show_header=False)
    for _ in range(4):
        table.add_column(overflow="fold")
    for path, before, after in figures[:_MOST_FIGURES]:
        table.add_row(f"  {path}", _value(before), "→", _value(after))
    console.print(table)
    if len(figures) > _MOST_FIGURES:
        console.print(f"  … and {len(figures) - _MOST_FIGURES} more, all in --json")


def _value(value: Any) -> str:
    if value is None:
        return "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        if value and all(isinstance(one, int) for one in value):
            return listed(value) if len(value) <= _MOST_VALUES else f"{len(value)} numbers"
        return joined([_value(one) for one in value]) or "none"
    return f"{value:.6g}" if isinstance(value, float) else str(value)


def _closing(found: Changes) -> Text:
    if found.none:
        return Text("Nothing changed.", "bold green")
    before, after = found.verdict
    verdict = f"The verdict was {before}, now it is {after}." if before != after else (
        f"The verdict is still {after}." if after else ""
    )  # fmt: skip
    counts = f"{many(len(found.new), 'new finding')}, {len(found.gone)} gone."
    return Text(f"{counts} {verdict}".strip(), "bold red" if found.worse else "bold green")
