"""Writes files whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from emulator.errors import WriteError


def write_whole(path: Path | str, content: bytes | str, *, replace: bool = True) -> None:
    """Write a file so that it is there whole or not at all; folders above it are made.

    Raises WriteError when the folder cannot be written to, or when `replace` is False and the
    file exists.
    """
    path = Path(path)
    data = content.encode() if isinstance(content, str) else content
    if not replace and path.exists():
        raise WriteError(
            f"{path}: the file exists and is left as it is\n  To mend: name another file."
        )
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, temporary = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
            os.chmod(temporary, 0o644)
            os.replace(temporary, path)
        finally:
            if os.path.exists(temporary):
                os.unlink(temporary)
    except OSError as error:
        raise WriteError(
            f"{path}: cannot be written ({error.strerror})\n  To mend: name a file in a folder you"
            " may write to."
        ) from error
