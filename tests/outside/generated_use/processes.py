"""Which processes there are, by walking /proc; those of a case carry a token."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from tests.outside.generated_use.running import COMMAND, environment

TOKEN = "FOREGLOW_TEST_TOKEN"


def marked(token: str) -> list[int]:
    """Living processes whose environment or arguments hold the token; zombies do not count."""
    found = []
    for entry in os.listdir("/proc"):
        if not entry.isdigit() or int(entry) == os.getpid():
            continue
        try:
            texts = [Path(f"/proc/{entry}/{name}").read_bytes() for name in ("environ", "cmdline")]
            state = Path(f"/proc/{entry}/stat").read_text().rsplit(")", 1)[1].split()[0]
        except OSError:
            continue
        if state not in "ZX" and any(token.encode() in text for text in texts):
            found.append(int(entry))
    return found


def told(pids: Sequence[int]) -> str:
    """The command lines of processes, for a complaint."""
    lines = []
    for pid in pids:
        try:
            line = Path(f"/proc/{pid}/cmdline").read_bytes().replace(b"\0", b" ")[:120]
        except OSError:
            continue
        lines.append(f"{pid} {line!r}")
    return "; ".join(lines)


def until(condition: Callable[[], bool], limit_s: float, step_s: float = 0.05) -> bool:
    """Wait until the condition holds, `limit_s` at most; whether it does."""
    end = time.monotonic() + limit_s
    while not condition():
        if time.monotonic() > end:
            return condition()
        time.sleep(step_s)
    return True


class Going:
    """The command, running in the background; nothing is left of it at the end."""

    def __init__(self, arguments: Sequence[str], folder: Path, **env: str) -> None:
        self.token = f"token-{os.getpid()}-{time.monotonic_ns()}"
        self._out = tempfile.TemporaryFile()  # noqa: SIM115, open as long as this is
        self.process = subprocess.Popen(
            [COMMAND, *arguments], cwd=folder, env=environment(**{TOKEN: self.token}, **env),
            stdin=subprocess.DEVNULL, stdout=self._out, stderr=subprocess.STDOUT,
            start_new_session=True,
        )  # fmt: skip

    def __enter__(self) -> Going:
        return self

    def __exit__(self, *_: object) -> None:
        for pid in marked(self.token):
            self.kill(signal.SIGKILL, pid)
        self.process.wait(10)
        self._out.close()

    @property
    def ended(self) -> bool:
        return self.process.poll() is not None

    @property
    def said(self) -> str:
        length = os.fstat(self._out.fileno()).st_size
        return os.pread(self._out.fileno(), length, 0).decode(errors="replace")

    def says(self, words: str, limit_s: float = 20) -> bool:
        """Wait until it has said so."""
        return until(lambda: words in self.said or self.ended, limit_s) and words in self.said

    def kill(self, number: signal.Signals, pid: int | None = None) -> None:
        with contextlib.suppress(ProcessLookupError):
            os.kill(pid or self.process.pid, number)

    def wait(self, limit_s: float) -> int | None:
        """Its exit status; None where it does not end."""
        return self.process.returncode if until(lambda: self.ended, limit_s) else None

    def left(self, within_s: float = 3) -> list[str]:
        """A complaint if anything it started outlives it by so long."""
        if until(lambda: not marked(self.token), within_s):
            return []
        return [f"still there after {within_s} s: {told(marked(self.token))}"]
