"""The real command over a pipe: what it prints up to each question, and what is typed then."""

from __future__ import annotations

import json
import os
import re
import select
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

ASKS_SEEN = re.compile(r"What do you see\? *$")
ASKS_FIXED = re.compile(r"\(fixed/left/no; quit: go on later\) *$")
PICTURE = re.compile(
    r"^(\d+)\. It should .*\(pattern ([\w-]+), (picture \d+|all its pictures)\)\.$", re.M
)
Shown = tuple[int, str, int | None]  # number of the question, pattern, step from 0; None: all
PATIENCE_S = 120.0  # without a word for so long, it hangs


class Hangs(Exception):
    """The command neither asks nor ends."""


class Session:
    """`foreglow find wall.toml --rehearse FAULT` in a folder."""

    def __init__(self, folder: Path, fault: str, *more: str) -> None:
        self._kept = folder / "foreglow-out" / "wall-find.json"
        self.said = ""  # since something was typed
        self.all = ""
        self.now = ""  # 'seen' or 'fixed', as it asks, or 'end'
        self.picture: Shown | None = None  # the last that it named
        self._to = subprocess.Popen(
            [sys.executable, "-m", "foreglow", "find", "wall.toml", "--rehearse", fault, *more],
            cwd=folder, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
            env={**os.environ, "COLUMNS": "200"},
        )  # fmt: skip
        self._read()

    def _read(self) -> None:
        """Reads up to the next question."""
        self.said = ""
        assert self._to.stdout is not None
        until = time.monotonic() + PATIENCE_S
        while time.monotonic() < until:
            ready, _, _ = select.select([self._to.stdout], [], [], 1.0)
            if not ready:
                continue
            got = os.read(self._to.stdout.fileno(), 1 << 16).decode("utf-8", "replace")
            self.said += got
            self.all += got
            found = PICTURE.findall(self.said)
            if found:
                number, name, which = found[-1]
                step = None if which.startswith("all") else int(which.split()[1]) - 1
                self.picture = int(number), name, step
            self.now = (
                "end" if not got
                else "seen" if ASKS_SEEN.search(self.said)
                else "fixed" if ASKS_FIXED.search(self.said)
                else ""
            )  # fmt: skip
            if self.now:
                return
        self.kill()
        raise Hangs(self.said[-400:])

    def type(self, line: str) -> None:
        """Types a line, and reads up to the next question."""
        assert self._to.stdin is not None
        self.all += f"«{line}»\n"
        self._to.stdin.write(line.encode() + b"\n")
        self._to.stdin.flush()
        self._read()

    def kill(self) -> None:
        self._to.kill()
        self._to.wait()
        self._close()

    def end(self) -> int:
        """The exit status, after the last word."""
        status = self._to.wait(PATIENCE_S)
        self._close()
        return status

    def _close(self) -> None:
        for stream in (self._to.stdin, self._to.stdout):
            if stream is not None:
                stream.close()

    def events(self) -> list[dict[str, Any]]:
        """What it has kept so far."""
        if not self._kept.exists():
            return []
        return list(json.loads(self._kept.read_text())["events"])
