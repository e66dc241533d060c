"""What code under test prints: the start goes to standard error, and all of it is counted."""

from __future__ import annotations

import codecs
import contextlib
import io
import os
import sys
import threading

from emulator.plaintext import clean

MUCH_PRINTED = 1 << 20  # bytes; showing pictures needs no output
FIX_PRINTED = "print only what changes: printing takes time, and a log fills the disk."
_PASSED_ON = 1 << 16  # bytes; nobody would read more
_PIPE_BYTES = 1 << 16  # what a pipe holds: pipe(7)
_GRACE_S = 1.0  # to read the rest of the pipe after the code has ended


class Printed:
    """Reads one end of a pipe in its own thread, so that the code that prints never has to wait.

    The write end is `write_end`; the caller that starts the code closes it in this process.
    """

    def __init__(self) -> None:
        self._read_end, self.write_end = os.pipe()
        self.count = 0  # bytes so far
        self._thread = threading.Thread(target=self._read, daemon=True)

    def start(self) -> None:
        """Start reading. Call it after the fork: the child has no threads."""
        os.close(self.write_end)
        self._thread.start()

    def close(self) -> None:
        """Wait a moment for the rest; or close the pipe if `start` was never called."""
        if self._thread.ident is None:
            os.close(self._read_end)
            os.close(self.write_end)
        elif self._thread.is_alive():
            self._thread.join(_GRACE_S)

    def _read(self) -> None:
        decoder = codecs.getincrementaldecoder("utf-8")("replace")
        words = io.IncrementalNewlineDecoder(decoder, translate=True)  # each \r ends a line, too
        with contextlib.closing(os.fdopen(self._read_end, "rb", buffering=0)) as stream:
            while data := stream.read(_PIPE_BYTES):
                left = _PASSED_ON - self.count
                self.count += len(data)
                if left > 0:
                    self._pass_on(words.decode(data[:left]))
                    if len(data) > left:
                        self._pass_on("\n… and more, which is not passed on\n")

    @staticmethod
    def _pass_on(text: str) -> None:
        with contextlib.suppress(OSError, ValueError):  # nobody reads it, but it is counted
            sys.stderr.write(clean(text))
            sys.stderr.flush()
