"""A scene in a process of its own, so that neither an error nor an endless loop stops the show."""

from __future__ import annotations

import contextlib
import os
import queue
import signal
import subprocess
import sys
import threading
from collections.abc import Sequence
from typing import IO, Any

import psutil

from emulator.arrays import Picture
from emulator.description.display import Display
from emulator.errors import SceneError, SourceError
from foreglow.names import PLACES
from harness.show.scene.lineage import descendants, kill
from harness.show.scene.message import encode_request, read_answer
from harness.show.scene.player import Player
from harness.show.scene.said import Lines, Said

_GRACE_S = 1.0  # for a scene to release its camera or files after the last request
_LOOK_S = 0.2  # between looks at its memory
_PIPE_BYTES = 1 << 16  # what a pipe holds: pipe(7)
# Ctrl-C ends the show, which then ends its scenes.
_APART: dict[str, Any] = (
    {"creationflags": getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0)}
    if sys.platform == "win32"
    else {"process_group": 0}
)


class ProcessPlayer(Player):
    """Starts a scene in a process of its own, with a keeper (`harness.show.scene.keeper`) between.

    Both end with this process, and so does everything that the scene starts. Use it as a context
    manager.

    display_name, scene: as on the command line. said: gets what the scene and its sources print or
    log, as it comes; a scene that prints without end is not held up. most_bytes: of memory that it
    and its processes may take; with more, it is ended. None: no limit. speed: how much of the
    scene's time passes in a second. Raises SceneError if no process can be started.
    """

    def __init__(
        self,
        display_name: str,
        scene: str,
        display: Display,
        said: Said,
        most_bytes: int | None = None,
        speed: float = 1.0,
    ) -> None:
        path = os.pathsep.join(filter(None, [*map(str, PLACES), os.environ.get("PYTHONPATH")]))
        command = [sys.executable, "-P", "-m", "harness.show.scene.keeper", str(os.getpid())]
        command += [display_name, scene, *([] if most_bytes is None else [str(most_bytes)])]
        try:
            self._process = subprocess.Popen(
                command,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.PIPE,
                env={**os.environ, "PYTHONPATH": path},
                **_APART,
            )
        except OSError as error:
            raise SceneError(
                f"no process can be started: {error.strerror}", fix="end other programs."
            ) from error
        self._keeper = psutil.Process(self._process.pid)
        self._shape, self._said = display.picture_shape, said
        self._most_bytes, self._speed = most_bytes, speed
        self._ended = threading.Event()
        self._came: queue.SimpleQueue[Picture | SourceError | SceneError] = queue.SimpleQueue()
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()
        self._listener = threading.Thread(target=self._listen, daemon=True)
        self._listener.start()
        threading.Thread(target=self._watch, daemon=True).start()

    def ask(self, time_s: float) -> None:
        """As Player.ask."""
        assert self._process.stdin is not None
        with contextlib.suppress(OSError, ValueError):  # it has ended: `take` raises that
            self._process.stdin.write(encode_request(time_s * self._speed))
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
        """End it and its processes at once. Never waits: its thread sees it end."""
        kill(descendants(self._keeper))
        with contextlib.suppress(OSError):
            self._process.terminate()  # the keeper, which ends processes that started just now
        self._ask_no_more()

    def close(self) -> None:
        """Send no more requests. It gets a second to end by itself, then it is killed."""
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
        """In its own thread: pass on the answers, and then how the process has ended."""
        assert self._process.stdout is not None
        with self._process.stdout as answers:
            going_on = True
            while going_on:
                answer = _answer(answers, self._shape)
                going_on = answer is not None and not isinstance(answer, SceneError)
                if answer is not None:
                    self._came.put(answer)
            status = self._process.wait()
        self._ended.set()
        if answer is None:
            self._came.put(SceneError(f"its process {_ended(status)}"))

    def _listen(self) -> None:
        """In its own thread: pass on what is printed, until all processes that print have ended."""
        assert self._process.stderr is not None
        lines = Lines()
        with self._process.stderr as stream:
            while data := os.read(stream.fileno(), _PIPE_BYTES):
                self._said.take(*lines.feed(data))
        self._said.take([lines.rest()])
        self._said.end()

    def _watch(self) -> None:
        """In its own thread: watch the memory, and log what is due of what was printed."""
        while not self._ended.wait(_LOOK_S):
            self._said.take()
            if self._most_bytes is None:
                continue
            taken = memory_of(descendants(self._keeper), self._most_bytes)
            if taken > self._most_bytes:
                # Queued before the process ends, so that this is the reason reported.
                self._came.put(
                    SceneError(
                        f"it takes {taken / 1e6:.0f} MB of memory; --memory allows"
                        f" {self._most_bytes / 1e6:.0f} MB"
                    )
                )
                self.kill()
                return


def _answer(
    stream: IO[bytes], shape: tuple[int, int, int]
) -> Picture | SourceError | SceneError | None:
    """The next answer, which may be an error; None at the end of the stream."""
    try:
        return read_answer(stream, shape)
    except (SourceError, SceneError) as error:
        return error


def memory_of(processes: Sequence[psutil.Process], most: int) -> int:
    """Bytes of memory that processes take together.

    Shared memory counts once, but only if the sum would otherwise exceed `most` and the system
    reports it (Linux).
    """
    total = _sum(processes, "rss")
    return total if total <= most else min(total, _sum(processes, "pss"))


def _sum(processes: Sequence[psutil.Process], what: str) -> int:
    total = 0
    for process in processes:
        with contextlib.suppress(psutil.Error):
            info = process.memory_info() if what == "rss" else process.memory_full_info()
            total += getattr(info, what, info.rss)
    return total


def _ended(status: int) -> str:
    if status >= 0:
        return f"ended with status {status}"
    return f"was ended by signal {-status} ({signal.strsignal(-status)})"
