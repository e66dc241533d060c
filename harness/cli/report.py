"""`foreglow report`: what to do with reports that other commands have printed."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

from harness.cli.options import Json
from harness.report.terminal import say, terminal

Saved = Annotated[Path, typer.Argument(help="What a command printed with --json.")]


def compare(old: Saved, new: Saved, as_json: Json = False) -> None:
    """Say what changed from one report to a newer one of the same command, each made with --json.

    Findings that are new, gone or changed, the verdict, and figures that differ by more than a
    thousandth. Exit status 1 if the new one is worse: its verdict, or a new fault or warning.
    """
    from harness.report.changes.changes import changes
    from harness.report.changes.saved import load
    from harness.report.changes.terminal import print_changes

    before, after = load(old), load(new)
    found = changes(before, after)
    if as_json:
        say(json.dumps(found.to_json(), indent=2))
    else:
        print_changes(before, after, found, terminal())
    raise typer.Exit(int(found.worse))
