"""Files: read where they are files, of a bounded size; written whole or not at all."""

from __future__ import annotations

import contextlib
import errno
import os
import stat
import tempfile
from collections.abc import Iterator
from pathlib import Path

from emulator.errors import WriteError


def read_file(path: Path | str, most_bytes: int) -> bytes:
    """What a file holds.

    Raises OSError where it cannot be read, is larger than `most_bytes`, or is no file but a
    folder, a device or a pipe, which may have no end or never begin. `strerror` says which.
    """
    check_file(path)
    with open(path, "rb") as file:
        content = file.read(most_bytes + 1)
    if len(content) > most_bytes:
        size = f"{most_bytes >> 20} MiB" if most_bytes >= 1 << 20 else f"{most_bytes >> 10} KiB"
        raise OSError(errno.EFBIG, f"larger than {size}", str(path))
    return content


def check_file(path: Path | str) -> None:
    """Raise OSError where there is no file of that name, but nothing, a folder, device or pipe."""
    if not stat.S_ISREG(os.stat(path).st_mode):
        raise OSError(errno.EINVAL, "a folder, a device or a pipe, not a file", str(path))


@contextlib.contextmanager
def whole_file(path: Path | str) -> Iterator[Path]:
    """The name of a file beside `path` to be written, which takes its place at the end.

    Where the block raises, `path` stays as it was and nothing is left beside it. Folders above it
    are made. An OSError, of the block too, becomes WriteError. A device or a pipe is never
    replaced: WriteError, too.
    """
    path = Path(path)
    if path.exists() and not (path.is_file() or path.is_dir()):
        raise WriteError(f"{path}: is no file and is left as it is\n  To mend: name a file.")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, beside = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
        os.close(handle)
        try:
            yield Path(beside)
            os.chmod(beside, 0o644)
            os.replace(beside, path)
        finally:
            if os.path.exists(beside):
                os.unlink(beside)
    except WriteError:
        raise
    except OSError as error:
        raise WriteError(
            f"{path}: cannot be written ({error.strerror or error})\n  To mend: name a file in a"
            " folder you may write to, on a disk with room for it."
        ) from error


def write_whole(path: Path | str, content: bytes | str, *, replace: bool = True) -> None:
    """Write a file so that it is there whole or not at all; folders above it are made.

    Raises WriteError when the folder cannot be written to, or when `replace` is False and the
    file exists.
    """
    if not replace and Path(path).exists():
        raise WriteError(
            f"{path}: the file exists and is left as it is\n  To mend: name another file."
        )
    with whole_file(path) as beside:
        beside.write_bytes(content.encode() if isinstance(content, str) else content)
