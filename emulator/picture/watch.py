"""Watches files for a change of their content."""

from __future__ import annotations

import hashlib
from pathlib import Path

from emulator.files import check_file

_Stamp = tuple[int, int, int]


class Watch:
    """Says whether the content of files has changed; a call usually reads only their dates.

    A missing file counts as unchanged: editors save by removing and renaming.
    """

    def __init__(self) -> None:
        self._files: dict[Path, tuple[_Stamp | None, bytes]] = {}

    def add(self, path: Path) -> None:
        """Watch a file from now on; it may not exist yet."""
        if path not in self._files:
            # The stamp first: so a file that is saved in between counts as changed.
            self._files[path] = _stamp(path), _content(path)

    def changed(self) -> bool:
        """Whether the content of any file has changed since the last call."""
        found = False
        for path, (stamp, content) in self._files.items():
            new = _stamp(path)
            if new is not None and new != stamp:
                self._files[path] = new, _content(path)
                found |= self._files[path][1] != content
        return found


def _stamp(path: Path) -> _Stamp | None:
    try:
        about = path.stat()
    except OSError:
        return None
    return about.st_mtime_ns, about.st_size, about.st_ino


def _content(path: Path) -> bytes:
    try:
        check_file(path)
        return hashlib.sha256(path.read_bytes()).digest()
    except OSError:
        return b""
