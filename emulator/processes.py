"""Processes: started in their own group, read without waiting, ended with their children.

On POSIX a process group ends as a whole, also after its leader has ended. Elsewhere psutil finds
the children of a process while that process runs.
"""

from __future__ import annotations

import contextlib
import os
import queue
import shlex
import signal
import subprocess
import threading
from typing import Any, Protocol

import psutil

_PIECE = 1 << 16  # what a pipe holds: pipe(7)
_GRACE_S = 0.5  # wait so long for the end of a pipe after its writers have ended
_MOST_PIECES = 16  # that may wait; then the writer must wait, as with a full pipe


def apart() -> dict[str, Any]:
    """Keywords of subprocess.Popen for a process in its own group: Ctrl-C does not reach it."""
    if hasattr(os, "killpg"):
        return {"process_group": 0}
    return {"creationflags": getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0)}


class Started(Protocol):
    """A process that this one has started, as subprocess.Popen has it.

    returncode: None until the process has ended and `poll` or `wait` has returned its code. From
    then on its id may belong to another process.
    """

    pid: int
    returncode: int | None


def end_all(process: Started, *, kindly: bool = False) -> None:
    """End a process started `apart`, and all processes that it has started; never waits.

    kindly: ask it and its group to end instead of killing them. Children that have left the group
    and whose parent has ended, such as daemons, are not found.
    """
    started = [] if kindly else _descendants(process)  # also those in groups of their own
    with contextlib.suppress(ProcessLookupError, PermissionError):  # nobody is left
        if hasattr(os, "killpg"):
            os.killpg(process.pid, signal.SIGTERM if kindly else signal.SIGKILL)
        elif kindly and process.returncode is None:
            os.kill(process.pid, getattr(signal, "CTRL_BREAK_EVENT", signal.SIGTERM))
    for one in started:
        with contextlib.suppress(Exception):  # of psutil, if the process has ended meanwhile
            one.kill()


def _descendants(process: Started) -> list[Any]:
    """The psutil.Process of a running process, and of all that it has started."""
    if process.returncode is not None:
        return []
    try:
        leader = psutil.Process(process.pid)
        return [*leader.children(recursive=True), leader]
    except psutil.Error:
        return []


def words_of(command: str) -> list[str]:
    """A command as words: blanks separate them, quotes join them; no shell is involved.

    On Windows a backslash means itself, since paths contain many. Raises ValueError for a quote
    that is not closed.
    """
    reader = shlex.shlex(command, posix=True, punctuation_chars=False)
    reader.whitespace_split, reader.commenters = True, ""
    if os.name == "nt":
        reader.escape = ""
    return list(reader)


class Arriving:
    """Reads a pipe in a thread: not every system can wait for a pipe with a timeout.

    fd: the end to read from; the thread closes it after all writers have closed theirs.
    """

    def __init__(self, fd: int) -> None:
        self._fd = fd
        self._pieces: queue.Queue[bytes] = queue.Queue(_MOST_PIECES)
        self._ended = False
        self._thread = threading.Thread(target=self._read, daemon=True)
        self._thread.start()

    def take(self, seconds: float) -> bytes | None:
        """The next bytes; None if none come in that time; b'' at the end, on every call."""
        if self._ended:
            return b""
        try:
            piece = self._pieces.get(timeout=seconds)
        except queue.Empty:
            return None
        self._ended = not piece
        return piece

    def close(self) -> None:
        """Stop reading: later bytes are discarded, so that no writer is blocked."""
        self._ended = True
        self._thread.join(_GRACE_S)  # the thread runs on if a lost writer still has the pipe open

    def _read(self) -> None:
        piece = b"?"
        try:
            while piece:
                try:
                    piece = os.read(self._fd, _PIECE)
                except OSError:  # Windows reports the end as a broken pipe
                    piece = b""
                while not self._ended:
                    with contextlib.suppress(queue.Full):
                        self._pieces.put(piece, timeout=0.1)
                        break
        finally:
            os.close(self._fd)


class Leaving:
    """Writes to a pipe in a thread, so that a slow reader blocks nobody.

    fd: the end to write to; the thread closes it, after `close`.
    """

    def __init__(self, fd: int) -> None:
        self._fd = fd
        self._pieces: queue.SimpleQueue[tuple[bytes, threading.Event]] = queue.SimpleQueue()
        threading.Thread(target=self._write, daemon=True).start()

    def put(self, data: bytes) -> threading.Event:
        """Write bytes in the thread; the event is set when they are written or never can be."""
        gone = threading.Event()
        self._pieces.put((data, gone))
        return gone

    def close(self) -> None:
        """Close the pipe after the remaining bytes have been written."""
        self._pieces.put((b"", threading.Event()))

    def _write(self) -> None:
        while (piece := self._pieces.get())[0]:
            data, gone = piece
            with contextlib.suppress(OSError):  # nobody reads any more
                while data:
                    data = data[os.write(self._fd, data) :]
            gone.set()
        os.close(self._fd)
