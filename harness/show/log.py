"""The log of a show: lines on the terminal, and a file of bounded size."""

from __future__ import annotations

import contextlib
import logging
import logging.handlers
import sys
from collections.abc import Iterator
from pathlib import Path

from emulator.errors import WriteError
from emulator.plaintext import clean

_MOST_BYTES, _FILES = 1 << 20, 5  # the file and its four predecessors


class _Clean(logging.Formatter):
    """A line with its time. It makes text from scenes and messages harmless."""

    def format(self, record: logging.LogRecord) -> str:
        """The line, cleaned; several lines for a traceback."""
        return clean(super().format(record))


_FORM = _Clean("%(asctime)s %(message)s", "%Y-%m-%d %H:%M:%S")


@contextlib.contextmanager
def told(path: Path | None) -> Iterator[logging.Logger]:
    """The logger of the show; all loggers `foreglow.…` go to standard error and to the file.

    Lines are appended to the file. At 1 MiB a new file begins; four older ones stay beside it
    (.1 … .4). Neither a full disk, which the terminal reports once, nor a closed terminal stops
    the show. Raises WriteError if the file cannot be opened.
    """
    root, show = logging.getLogger("foreglow"), logging.getLogger("foreglow.show")
    terminal = _Quiet()
    handlers: list[logging.Handler] = [terminal]
    if path is not None:
        try:
            handlers.append(_QuietFile(path, terminal))
        except OSError as error:
            raise WriteError(
                f"cannot be written ({error.strerror})",
                place=path,
                fix="name a file in a folder you may write to.",
            ) from error
    level, propagate = root.level, root.propagate
    root.setLevel(logging.INFO)
    root.propagate = False
    for handler in handlers:
        handler.setFormatter(_FORM)
        root.addHandler(handler)
    try:
        yield show
    finally:
        root.setLevel(level)
        root.propagate = propagate
        for handler in handlers:
            root.removeHandler(handler)
            with contextlib.suppress(OSError):
                handler.close()


class _Quiet(logging.StreamHandler):  # type: ignore[type-arg]
    """To standard error, as long as there is one."""

    def handleError(self, record: logging.LogRecord) -> None:
        """Lose the line."""


class _QuietFile(logging.handlers.RotatingFileHandler):
    """To a file, as long as the disk takes it. The terminal reports the first lost line."""

    def __init__(self, path: Path, terminal: logging.Handler) -> None:
        super().__init__(
            path, maxBytes=_MOST_BYTES, backupCount=_FILES - 1, encoding="utf-8", errors="replace"
        )
        self._path, self._terminal = path, terminal
        self._told = False

    def handleError(self, record: logging.LogRecord) -> None:
        """Lose the line."""
        if not self._told:
            self._told = True
            error = sys.exc_info()[1]
            why = (error.strerror if isinstance(error, OSError) else None) or str(error)
            words = f"the log {self._path} cannot be written ({why}); the show goes on"
            self._terminal.handle(logging.makeLogRecord({"msg": words, "name": record.name}))
