"""How strong a user's tests are, for the terminal."""

from __future__ import annotations

from rich.console import Console
from rich.table import Table
from rich.text import Text

from harness.mutate.mutation import GROUPS
from harness.mutate.verdict import Tried, Verdict


def print_verdict(verdict: Verdict, console: Console) -> None:
    """Print what noticed each mistake, the survivors with their assertions, and the count."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
    table.add_column("  mistake")
    table.add_column("noticed by", overflow="fold")
    for one in verdict.tried:
        table.add_row(f"  {one.mutation.name}", _told(one))
    console.print(
        f"'{verdict.command}' with one mistake at a time in {verdict.target}, for"
        f" '{verdict.display}':",
        highlight=False,
    )
    console.print(table)
    if verdict.left_out:
        console.print("Left out", style="bold")
        for reason in dict.fromkeys(one.reason for one in verdict.left_out):
            names = dict.fromkeys(one.name for one in verdict.left_out if one.reason == reason)
            console.print(f"  {reason}: {', '.join(names)}", highlight=False)
    if verdict.early:
        module, _, name = verdict.target.rpartition(":")
        lines = ", ".join(map(str, verdict.early))
        console.print("Not reached", style="bold")
        console.print(
            f"  {module} itself uses {name} while it is imported (line {lines}): there it stays"
            " right. If your tests use that, name it instead.",
            highlight=False,
        )
    if verdict.survivors:
        console.print("Survivors: no test notices that", style="bold")
        for line in dict.fromkeys(one.assertion for one in verdict.survivors):
            caught = [one for one in verdict.survivors if one.assertion == line]
            for one in caught:
                unused = "" if one.reached else " (no test used the code with it)"
                console.print(f"  {one.mutation.what}{unused}", highlight=False)
            these = "these" if len(caught) > 1 else "this"
            console.print(Text.assemble(f"    To catch {these}, add: ", (line, "bold")))
        console.print("  The assertions come from harness.assertions; `display` is a fixture.")
    counts = []
    for group in GROUPS:
        of = [one for one in verdict.tried if one.mutation.group == group]
        if of:
            counts.append(f"{group} {sum(one.noticed for one in of)} of {len(of)}")
    noticed = len(verdict.tried) - len(verdict.survivors)
    console.print(
        f"Noticed: {noticed} of {len(verdict.tried)} mistakes ({', '.join(counts)}).",
        style="bold",
        highlight=False,
    )


def _told(tried: Tried) -> str:
    if not tried.noticed:
        return "no test: SURVIVES"
    if tried.too_long:
        return "the time limit"
    return tried.by or "a test"
