"""Settings for the whole test run."""

from __future__ import annotations

import gc
import os
import pickle
import signal
import sys
from functools import cache

# Before numpy is loaded: its products here are small, and more threads than cores wait for each
# other. The processes of pytest-xdist inherit it.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
# Tests start many interpreters, and each would compile foreglow and its tests again.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

import pytest
import typer.main
from hypothesis import settings

from emulator.light import operator
from harness import cli

sys.dont_write_bytecode = False
pytest_plugins = ["pytester", "tests.chromium"]

# A test calls the command many times, and typer builds all its options for each call.
typer.main.get_command = cache(typer.main.get_command)


def _once(separate):
    """The same, calculated once for each cover: the tests draw the same few walls many times."""
    found = {}

    def kept(spot, across, down):
        key = pickle.dumps((spot, across, down))
        if key not in found:
            found[key] = separate(spot, across, down)
        return found[key]

    return kept


operator.separate = _once(operator.separate)

# Started in the background, this process ignores SIGINT, and so would each command that a test
# starts and ends with it.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)

# No deadlines: these tests state what is right, never how fast; machines are noisy. The usual
# run tries the same few examples every time, `FOREGLOW_EXAMPLES=many` (CI, beside the slow tests)
# more of them; `search` looks for new ones.
settings.register_profile("few", deadline=None, max_examples=15, derandomize=True)
settings.register_profile("many", deadline=None, max_examples=50, derandomize=True)
settings.register_profile("search", deadline=None, max_examples=1000)
settings.load_profile(os.environ.get("FOREGLOW_EXAMPLES", "few"))


def pytest_collection_finish():
    """Collected tests stay till the end, so Python looks for garbage less often than usual.

    (`gc.freeze` would also do this, but hides objects from Hypothesis, which then warns.)
    """
    gc.set_threshold(100_000, 50, 100)


@pytest.fixture
def pytester(pytester, monkeypatch):
    """pytest distinguishes tests written within one second: it keeps none of them compiled."""
    monkeypatch.setattr(sys, "dont_write_bytecode", True)
    return pytester


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
