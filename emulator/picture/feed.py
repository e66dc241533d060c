"""Pictures from another process: raw RGB on its standard output."""

from __future__ import annotations

import contextlib
import os
import subprocess
import weakref
from collections.abc import Sequence

import numpy as np

from emulator.arrays import Light
from emulator.description.display import Display
from emulator.errors import OutOfRangeError, SourceError
from emulator.picture.fit import How
from emulator.picture.live import Frame, LiveFrames
from emulator.picture.source import ClosingSource, on_wall
from emulator.processes import Arriving, apart, end_all, words_of

_MOMENT_S = 0.1
_GRACE_S = 1.0  # for the program to end after SIGTERM
_MOST_BYTES = 1 << 26  # of a picture


class Feed(ClosingSource):
    """A program that writes pictures to its standard output, one after the other.

    Each is `rows` × `columns` × 3 bytes: red, green, blue, sRGB, from the top left, row by row,
    with nothing in between. Any size works; it is fitted to the wall (`how`: as for `fit`). The
    wall shows the newest picture (dark before the first) and skips pictures that come too fast. If
    the program ends or sends nothing for `patience_s`, the feed ends it with its children and
    starts it again, at first after 1 s, then after longer times up to 30 s. Meanwhile it raises
    SourceError.

    command: words, or one text that is split as by a shell, but without a shell. Raises SourceError
    for a bad command or size.
    """

    def __init__(
        self,
        command: str | Sequence[str],
        columns: int,
        rows: int,
        *,
        how: How = "crop",
        patience_s: float = 5.0,
    ) -> None:
        if columns < 1 or rows < 1 or columns * rows * 3 > _MOST_BYTES:
            raise OutOfRangeError(
                f"pictures of {columns} × {rows}",
                fix="give columns and rows of what the program writes, from 1; a picture"
                f" may have {_MOST_BYTES // 3} pixels at most.",
            )
        try:
            words = words_of(command) if isinstance(command, str) else list(command)
        except ValueError as error:
            raise SourceError(
                f"'{command}' is not a valid command: {error}", fix="close every quote."
            ) from error
        if not words:
            raise SourceError("the command of a feed is empty", fix="name a program.")
        self._how: How = how
        self._frames = LiveFrames(
            lambda: _Program(words, (rows, columns, 3)),
            f"the feed '{words[0]}'",
            patience_s=patience_s,
        )

    def __call__(self, time_s: float, display: Display) -> Light:
        frame = self._frames.at(time_s)
        if frame is None:
            return np.zeros(display.picture_shape, dtype=np.float32)
        return on_wall(frame, display, self._how)

    def wait(self, seconds: float) -> bool:
        """Wait for a picture, at most so long; returns whether one has come."""
        return self._frames.wait(seconds)

    def close(self) -> None:
        """End the program and its children; a second call does nothing."""
        self._frames.close()


class _Program:
    """The process, as a device of frames."""

    def __init__(self, words: Sequence[str], shape: tuple[int, int, int]) -> None:
        self._shape = shape
        self._bytes = bytearray()
        try:
            self._process = subprocess.Popen(
                words, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, **apart()
            )
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or str(error)
            raise SourceError(
                f"it cannot be started: {reason}", fix="check its name and path."
            ) from error
        # If the interpreter exits without closing this, its threads have ended by then.
        self._end = weakref.finalize(self, end_all, self._process)
        assert self._process.stdout is not None
        self._arriving = Arriving(os.dup(self._process.stdout.fileno()))
        self._process.stdout.close()

    def read(self) -> Frame | None:
        size = int(np.prod(self._shape))
        if len(self._bytes) < size:
            came = self._arriving.take(_MOMENT_S)
            if came is None:
                return None
            if not came:
                status = self._process.poll()
                raise SourceError(
                    "it closed its output" if status is None else f"it ended ({status})"
                )
            self._bytes += came
        if len(self._bytes) < size:
            return None
        frame = np.frombuffer(bytes(self._bytes[:size]), dtype=np.uint8).reshape(self._shape)
        del self._bytes[:size]
        return frame

    def close(self) -> None:
        end_all(self._process, kindly=True)
        with contextlib.suppress(subprocess.TimeoutExpired):
            self._process.wait(_GRACE_S)
        self._end()
        self._process.wait()
        self._arriving.close()
