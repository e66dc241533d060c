"""Writes files whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from emulator.errors import ForeglowError


class WriteError(ForeglowError, OSError):
    """A file cannot be written; nothing was left half-written."""


def write_whole(path: Path | str, content: bytes | str, *, replace: bool = True) -> None:
    """Write a file so that it is there whole or not at all; folders above it are made.

    Raises WriteError when the folder cannot be written to, or when `replace` is False and the
    file exists.
    """
    path = Path(path)
    data = content.encode() if isinstance(content, str) else content
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, temporary = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
            os.chmod(temporary, 0o644)
            if replace:
                os.replace(temporary, path)
            else:
                os.link(temporary, path)  # fails if the file exists, unlike replace
        finally:
            if os.path.exists(temporary):
                os.unlink(temporary)
    except FileExistsError as error:
        raise WriteError(
            f"{path}: the file exists and is left as it is\n  To mend: name another file."
        ) from error
    except OSError as error:
        raise WriteError(
            f"{path}: cannot be written ({error.strerror})\n  To mend: name a file in a folder you"
            " may write to."
        ) from error
