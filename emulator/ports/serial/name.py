"""A name for a pseudo-terminal: a symbolic link that belongs to the running board of that name.

A board that is killed leaves its link behind, and another terminal may get the number of its
terminal. So every named board locks a small file in the folder for temporary files, which contains
the target of the link. The system releases the lock when the process ends.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import tempfile
from pathlib import Path

from emulator.closing import Closing
from emulator.errors import WriteError


class TerminalName(Closing):
    """A link to a terminal, until `close`. It replaces a link that a killed board has left.

    Raises WriteError if a running board or anything else has the name, or if no link can be made.
    """

    def __init__(self, name: Path, terminal: str) -> None:
        self._name, self._lock = name, -1
        try:
            self._lock = _locked(name)
            if name.is_symlink() and (not name.exists() or os.readlink(name) == self._before()):
                name.unlink()  # left by a board that was killed
            name.symlink_to(terminal)
            os.ftruncate(self._lock, 0)
            os.pwrite(self._lock, os.fsencode(terminal), 0)
        except OSError as error:
            self._give_back()
            why = "another board has it" if isinstance(error, BlockingIOError) else error.strerror
            raise WriteError(
                f"cannot be made a link to {terminal} ({why})",
                place=name,
                fix="name a file that does not exist, in a folder you may write to.",
            ) from error

    def close(self) -> None:
        """Take the link away."""
        if self._lock >= 0:
            with contextlib.suppress(OSError):
                self._name.unlink(missing_ok=True)
            self._give_back()

    def _before(self) -> str:
        """The target of the last link that a board of this name made."""
        return os.fsdecode(os.pread(self._lock, 4096, 0))

    def _give_back(self) -> None:
        if self._lock >= 0:
            os.close(self._lock)
        self._lock = -1


def _locked(name: Path) -> int:
    """The open, locked file for a name. Raises BlockingIOError if another process has it."""
    import fcntl  # not on Windows

    place = os.fsencode(name.parent.resolve() / name.name)
    key = hashlib.sha256(place).hexdigest()[:16]
    path = Path(tempfile.gettempdir()) / f"foreglow-{os.getuid()}-{key}.lock"
    # No file or link of another user is opened: everybody can write to this folder.
    lock = os.open(path, os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW | os.O_CLOEXEC, 0o600)
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        os.close(lock)
        raise
    return lock
