"""Runs the user's tests as they type them, with a mistake in the code or without."""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

from emulator.clock import RealClock
from emulator.errors import SubjectError
from emulator.processes import apart, end_all, words_of
from foreglow.mutated import ORDER
from harness.mutate.change import Change
from harness.mutate.order import Order

_PYTHON = re.compile(r"python(\d(\.\d+)?)?(\.exe)?")
_FAILED = re.compile(r"^(?:FAILED|ERROR|FAIL:|ERROR:) (\S+)", re.M)  # of pytest, of unittest
_READ = 65536  # bytes of the output that are read


@dataclass(frozen=True)
class Run:
    """One run of the tests.

    status: of the command; None if it took too long. seconds: how long it took. output: the end of
    what it printed. answers: lines of the process of the tests, as `order` says.
    """

    status: int | None
    seconds: float
    output: str
    answers: tuple[str, ...]

    @property
    def failed(self) -> str:
        """The test that failed first, as pytest or unittest names it; '' if none is named."""
        found = _FAILED.search(self.output)
        return found[1] if found else ""


class Command:
    """The command that runs the user's tests, in the current folder.

    Several threads may call `run`. Whatever a run writes into temporary folders is removed;
    pytest's cache, its page of failed tests, and compiled files go there or are not written.
    """

    def __init__(self, command: str, order: Order) -> None:
        """Raises SubjectError for a command that cannot be started."""
        self._words, self._order = _started(command), order
        self._clock = RealClock()
        self._running: set[subprocess.Popen[bytes]] = set()
        self._lock = threading.Lock()
        self._ended = False

    def run(self, change: Change, limit_s: float) -> Run:
        """Run the tests with a change. After `limit_s` their processes are ended."""
        with tempfile.TemporaryDirectory(
            prefix="foreglow-mutate-", ignore_cleanup_errors=True
        ) as made:
            folder = Path(made)
            answers, output = folder / "answers", folder / "output"
            answers.touch()
            replace(self._order, change=change, answers=str(answers)).write(folder / "order")
            begin_ns = self._clock.now_ns()
            with output.open("wb") as printed, self._process(folder, printed.fileno()) as process:
                try:
                    status: int | None = process.wait(limit_s)
                except subprocess.TimeoutExpired:
                    status = None
            seconds = (self._clock.now_ns() - begin_ns) / 1e9
            return Run(
                status, seconds, _end_of(output), tuple(answers.read_text("utf-8").splitlines())
            )

    def end(self) -> None:
        """End the processes of all runs; later runs end at once."""
        with self._lock:
            self._ended = True
            for process in self._running:
                end_all(process)

    @contextmanager
    def _process(self, folder: Path, printed: int) -> Iterator[subprocess.Popen[bytes]]:
        process = subprocess.Popen(
            self._words,
            stdin=subprocess.DEVNULL,
            stdout=printed,
            stderr=subprocess.STDOUT,
            env=_environment(folder),
            **apart(),
        )
        with self._lock:
            self._running.add(process)
            if self._ended:
                end_all(process)
        try:
            yield process
        finally:
            with self._lock:
                self._running.discard(process)
            end_all(process)  # and what it has started and left
            process.wait()


def _started(command: str) -> list[str]:
    """The words of a command, its program found; a Python program starts with our hook."""
    try:
        words = words_of(command)
    except ValueError as error:
        raise SubjectError(f"{error}", place=command, fix="close the quote.") from error
    if not words:
        raise SubjectError("the command is empty", fix='write it as in "pytest -q".')
    if "--foreglow-update" in words:
        raise SubjectError(
            "--foreglow-update would store what wrong code shows",
            place=command,
            fix="leave it out.",
        )
    # First beside this Python: there is a pytest that has foreglow's plugin.
    beside = Path(sys.executable).parent
    program = shutil.which(words[0], path=str(beside)) or shutil.which(words[0])
    if program is None:
        raise SubjectError(
            f"there is no program '{words[0]}'", place=command, fix="name one that runs your tests."
        )
    rest = words[1:]
    a_module = rest[:1] == ["-m"] and rest[1:2] not in ([], ["pytest"])
    if _PYTHON.fullmatch(Path(words[0]).name) and (a_module or (rest[:1] and rest[0][0] != "-")):
        rest = ["-m", "foreglow.mutated", *rest]
    return [program, *rest]


def _environment(folder: Path) -> dict[str, str]:
    """The variables of the tests: the mistake, and places to write to that are removed."""
    options = ["-x", "-o", f"cache_dir={folder / 'cache'}"]
    options += ["--foreglow-report", str(folder / "failures")]
    return {
        **os.environ,
        ORDER: str(folder / "order"),
        "PYTEST_ADDOPTS": f"{os.environ.get('PYTEST_ADDOPTS', '')} {shlex.join(options)}",
        "PYTHONDONTWRITEBYTECODE": "1",
        "COVERAGE_FILE": str(folder / "coverage"),
        "HYPOTHESIS_STORAGE_DIRECTORY": str(folder / "hypothesis"),
        **dict.fromkeys(("TMPDIR", "TEMP", "TMP"), str(folder)),
    }


def _end_of(path: Path) -> str:
    """The end of a file as text."""
    with path.open("rb") as file:
        file.seek(max(path.stat().st_size - _READ, 0))
        return file.read().decode("utf-8", "replace")
