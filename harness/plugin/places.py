"""The folder for pictures of failed tests, and the command that runs one test."""

from __future__ import annotations

import shlex
from pathlib import Path

import pytest

REPORT = "foreglow-failures"
PICTURES = "pictures"  # a folder in it


def report_folder(config: pytest.Config) -> Path:
    """Where pictures of failed tests go."""
    return config.invocation_params.dir / str(config.getoption("--foreglow-report"))


def command_for(item: pytest.Item) -> str:
    """The command that runs one test, from the folder where the run was started."""
    path, typed_from = item.path, item.config.invocation_params.dir
    if path == item.config.rootpath:  # a check, which is in no file
        return f"pytest {shlex.quote(item.nodeid)}"
    if path.is_relative_to(typed_from):
        path = path.relative_to(typed_from)
    _, colons, name = str(item.nodeid).partition("::")
    return f"pytest {shlex.quote(f'{path}{colons}{name}')}"
