"""A scene in a process of its own, so that neither an error nor an endless loop stops the show."""

from __future__ import annotations

import contextlib
import os
import queue
import select
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import IO

from emulator.description.display import Display
from emulator.errors import SceneError, SourceError
from harness.show.message import encode_request, read_answer
from harness.show.player import Picture, Player
from harness.show.said import Lines, Said

_GRACE_S = 1.0  # for a scene to give back its camera or files, once nobody asks any more
_LOOK_MS = 200  # between looks whether the process has ended, while it says nothing
_PIPE_BYTES = 1 << 16  # what a pipe holds: pipe(7)
_ROOT = Path(__file__).parent.parent.parent  # where this package lies, installed or not


class ProcessPlayer(Player):
    """Starts a scene in a child process of its own group; use it as a context manager.

    display_name, scene: as on the command line. said: gets what the scene, and the sources in it,
    print and tell to standard error, as it comes: a scene that prints without end is not held up.
    Raises SceneError where no process can be started.
    """

    def __init__(self, display_name: str, scene: str, display: Display, said: Said) -> None:
        path = os.pathsep.join(filter(None, [str(_ROOT), os.environ.get("PYTHONPATH")]))
        command = [sys.executable, "-P", "-m", "harness.show.child", display_name, scene]
        try:
            self._process = subprocess.Popen(
                command,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.PIPE,
                process_group=0,  # Ctrl-C is for the show, which then ends its scenes
                env={**os.environ, "PYTHONPATH": path},
            )
        except OSError as error:
            raise SceneError(
                f"no process can be started: {error.strerror}\n  To mend: end other programs."
            ) from error
        self._shape, self._said = display.picture_shape, said
        self._came: queue.SimpleQueue[Picture | SourceError | SceneError] = queue.SimpleQueue()
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()
        self._listener = threading.Thread(target=self._listen, daemon=True)
        self._listener.start()

    def ask(self, time_s: float) -> None:
        """As Player.ask."""
        assert self._process.stdin is not None
        with contextlib.suppress(OSError, ValueError):  # it has ended, which `take` tells
            self._process.stdin.write(encode_request(time_s))
            self._process.stdin.flush()

    def take(self) -> Picture | None:
        """As Player.take."""
        try:
            came = self._came.get_nowait()
        except queue.Empty:
            return None
        if isinstance(came, Exception):
            raise came
        return came

    def kill(self) -> None:
        """End it at once, and what it has started. Never waits: its thread sees it end."""
        started = list(_descendants(self._process.pid))  # also those in groups of their own
        with contextlib.suppress(ProcessLookupError, PermissionError):  # nobody is left
            os.killpg(self._process.pid, signal.SIGKILL)
        for pid in started:
            with contextlib.suppress(ProcessLookupError, PermissionError):
                os.kill(pid, signal.SIGKILL)
        self._ask_no_more()

    def close(self) -> None:
        """Ask nothing more: it may end by itself, for a second, before it is killed."""
        self._ask_no_more()
        self._reader.join(_GRACE_S)
        self.kill()
        self._reader.join(_GRACE_S)
        self._listener.join(_GRACE_S)

    def _ask_no_more(self) -> None:
        assert self._process.stdin is not None
        with contextlib.suppress(OSError):
            self._process.stdin.close()

    def _read(self) -> None:
        """In a thread of its own: pass on the answers, and then how the process has ended."""
        assert self._process.stdout is not None
        with self._process.stdout as answers:
            going_on = True
            while going_on:
                answer = _answer(answers, self._shape)
                going_on = answer is not None and not isinstance(answer, SceneError)
                if answer is not None:
                    self._came.put(answer)
            status = self._process.wait()
        if answer is None:
            self._came.put(SceneError(f"its process {_ended(status)}"))

    def _listen(self) -> None:
        """In a thread of its own: pass on what is said, until the process has ended.

        What it has started, and what got away from `kill`, may hold the pipe for ever.
        """
        assert self._process.stderr is not None
        lines, going_on = Lines(), True
        with self._process.stderr as stream:
            ready = select.poll()
            ready.register(stream, select.POLLIN)
            while going_on:
                going_on = self._process.returncode is None  # which `_read` sees to
                data = b""
                if ready.poll(_LOOK_MS if going_on else 0):
                    data = os.read(stream.fileno(), _PIPE_BYTES)
                    going_on = going_on and bool(data)
                self._said.take(*lines.feed(data))
        self._said.take([lines.rest()])
        self._said.end()


def _answer(
    stream: IO[bytes], shape: tuple[int, int, int]
) -> Picture | SourceError | SceneError | None:
    """The next answer, an error as well; None at the end of the stream."""
    try:
        return read_answer(stream, shape)
    except (SourceError, SceneError) as error:
        return error


def _descendants(pid: int) -> Iterator[int]:
    """The processes that one has started, and those they have; none where there is no proc(5)."""
    for tasks in Path(f"/proc/{pid}/task").glob("*/children"):
        with contextlib.suppress(OSError):  # it has ended meanwhile
            for child in map(int, tasks.read_text().split()):
                yield child
                yield from _descendants(child)


def _ended(status: int) -> str:
    if status >= 0:
        return f"ended with status {status}"
    return f"was ended by signal {-status} ({signal.strsignal(-status)})"
