"""The installed command as a user starts it: what it says and what it takes."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

COMMAND = str(Path(sys.executable).with_name("foreglow"))
# Linux counts the peak memory of the process that starts another one as that one's own. A small
# one in between, which says what its child took, keeps the size of this process out.
BETWEEN = """
import os, sys
pid = os.fork()
if not pid:
    os.execvp(sys.argv[2], sys.argv[2:])
_, status, used = os.wait4(pid, 0)
told = f"{os.waitstatus_to_exitcode(status)} {used.ru_utime + used.ru_stime} {used.ru_maxrss}"
os.write(int(sys.argv[1]), told.encode())
"""
TRACEBACK = b"Traceback (most recent call last)"


def environment(**more: str | None) -> dict[str, str]:
    """The user's environment without a screen, and nothing of the checkout on the path."""
    plain: dict[str, str | None] = {
        **os.environ, "SDL_VIDEODRIVER": "dummy", "COLUMNS": "100", "PYTHONPATH": None, **more,
    }  # fmt: skip
    return {name: value for name, value in plain.items() if value is not None}


@dataclass
class Ran:
    """What a command did. `peak_mb` and `cpu_s` count it and the children that it waited for."""

    status: int
    out: bytes
    err: bytes
    cpu_s: float
    peak_mb: float
    hung: bool

    @property
    def said(self) -> str:
        return (self.out + self.err).decode(errors="replace")

    def fell(self, limit_mb: float = 1e9) -> list[str]:
        """Complaints that hold for every command, whatever it was asked."""
        told = []
        if self.hung:
            told.append("it did not end by itself")
        if TRACEBACK in self.out + self.err:
            told.append(f"it fell with a traceback: {self.said[-400:]!r}")
        if self.status < 0 and not self.hung:
            told.append(f"it died of signal {-self.status}")
        if self.peak_mb > limit_mb:
            told.append(f"it took {self.peak_mb:.0f} MB")
        return told

    def refused(self, limit_mb: float = 1e9) -> list[str]:
        """Complaints where the input is bad: exit status 2 and an error are due."""
        told = self.fell(limit_mb)
        if not self.hung and self.status != 2:
            told.append(f"exit status {self.status}, not 2: {self.said[-300:]!r}")
        if not self.hung and not self.err.strip():
            told.append("nothing on standard error")
        return told


def run(
    arguments: Sequence[str],
    folder: Path,
    *,
    limit_s: float = 60,
    env: dict[str, str] | None = None,
    command: Sequence[str] = (COMMAND,),
    **more: Any,
) -> Ran:
    """Run `foreglow arguments` in `folder`; it is killed when it takes too long."""
    with (
        tempfile.TemporaryFile() as out, tempfile.TemporaryFile() as err,
        tempfile.TemporaryFile() as told,
    ):  # fmt: skip
        passed = {"pass_fds": [told.fileno(), *more.pop("pass_fds", [])]}
        process = subprocess.Popen(
            [sys.executable, "-ISc", BETWEEN, str(told.fileno()), *command, *arguments],
            cwd=folder, env=env or environment(), stdin=subprocess.DEVNULL, stdout=out, stderr=err,
            start_new_session=True, **passed, **more,
        )  # fmt: skip
        hung = _hung(process, limit_s)
        for file in (out, err, told):
            file.seek(0)
        status, cpu_s, peak_kb = (told.read() or b"-9 0 0").split()
        return Ran(
            int(status), out.read(), err.read(), float(cpu_s), int(peak_kb) / 1024, hung
        )  # fmt: skip


def _hung(process: subprocess.Popen[bytes], limit_s: float) -> bool:
    """Wait for the end; kill its group when the time is over, and say so."""
    try:
        process.wait(limit_s)
    except subprocess.TimeoutExpired:
        os.killpg(process.pid, signal.SIGKILL)
        process.wait()
        return True
    return False


WALL = """\
[grid]
columns = {columns}
rows = {rows}
pitch_mm = 20
[chip]
part = "{part}"
order = "RGB"
[wiring]
start = "top-left"
along = "rows"
path = "progressive"
[controller]
frame_rate = {rate}
"""


def wall(
    folder: Path, columns: int = 8, rows: int = 4, rate: int = 30, name: str = "wall.toml",
    part: str = "WS2812B",
) -> Path:  # fmt: skip
    """A small display file whose LEDs are in reading order, with channels R G B."""
    path = folder / name
    path.write_text(WALL.format(columns=columns, rows=rows, rate=rate, part=part))
    return path
