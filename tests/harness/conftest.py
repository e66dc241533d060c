"""What the tests of the command line share."""

from __future__ import annotations

import sys

import pytest

from harness import cli


@pytest.fixture
def foreglow(tmp_path, monkeypatch, capsys):
    """Runs the command in an empty folder: (exit status, standard output, standard error)."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "path", list(sys.path))
    monkeypatch.setenv("COLUMNS", "80")

    def run(*words: object) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["foreglow", *map(str, words)])
        with pytest.raises(SystemExit) as stop:
            cli.main()
        out, err = capsys.readouterr()
        return int(stop.value.code or 0), out, err

    return run
