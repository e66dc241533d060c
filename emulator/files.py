"""Reads regular files of bounded size; writes files whole or not at all."""

from __future__ import annotations

import contextlib
import errno
import gzip
import os
import shutil
import stat
import tempfile
import zlib
from collections.abc import Iterable, Iterator
from pathlib import Path

from emulator.errors import WriteError

MARK = "Made by foreglow"  # in each file that is written for a user
_LOOKED_AT = 64 << 10  # bytes at the beginning and at the end of a file
_REST = ".foreglow-part"  # ending of a file that is being written


def read_file(path: Path | str, most_bytes: int) -> bytes:
    """The content of a file.

    Raises OSError if it cannot be read, is larger than `most_bytes`, or is a folder, a device or
    a pipe, which may have no end or never begin. `strerror` says which.
    """
    check_file(path)
    with open(path, "rb") as file:
        content = file.read(most_bytes + 1)
    if len(content) > most_bytes:
        size = f"{most_bytes >> 20} MiB" if most_bytes >= 1 << 20 else f"{most_bytes >> 10} KiB"
        raise OSError(errno.EFBIG, f"larger than {size}", str(path))
    return content


def check_file(path: Path | str) -> None:
    """Raise OSError if there is no such file, or if it is a folder, a device or a pipe."""
    if not stat.S_ISREG(os.stat(path).st_mode):
        raise OSError(errno.EINVAL, "a folder, a device or a pipe, not a file", str(path))


def check_target(path: Path | str, *, force: bool = False, keep: Iterable[Path] = ()) -> None:
    """Check the name that a user gives for a result, before the work begins.

    Raises WriteError if its folder does not exist, if the result is made from it (`keep`), or if
    foreglow did not write it, unless `force`. Files that foreglow writes carry `MARK`, except for
    CSV, which has no place for it.
    """
    path = Path(path)
    if not path.parent.is_dir():
        raise WriteError(
            f"there is no folder {path.parent}",
            place=path,
            fix="make the folder, or name a file in another one.",
        )
    if not path.exists():
        return
    if any(kept.exists() and path.samefile(kept) for kept in keep):
        raise WriteError(
            "is the source of this result and is left as it is",
            place=path,
            fix="name another file.",
        )
    if not path.is_file():
        raise WriteError("is not a file and is left as it is", place=path, fix="name a file.")
    if not force and not _is_ours(path):
        raise WriteError(
            "exists, does not say that foreglow wrote it, and is left as it is",
            place=path,
            fix="name another file, or give --force.",
        )


def _is_ours(path: Path) -> bool:
    """Whether a file carries the mark, near its beginning or its end."""
    try:
        with path.open("rb") as file:
            size = file.seek(0, os.SEEK_END)
            file.seek(0)
            found = file.read(_LOOKED_AT)
            file.seek(max(size - _LOOKED_AT, 0))
            found += b"|" + file.read(_LOOKED_AT)
            if found.startswith(b"\x1f\x8b"):  # gzip: the mark may be inside
                file.seek(0)
                with contextlib.suppress(EOFError, zlib.error, gzip.BadGzipFile):
                    found = gzip.GzipFile(fileobj=file).read(_LOOKED_AT)
            return MARK.encode() in found
    except OSError as error:
        raise WriteError(
            f"cannot be read ({error.strerror})", place=path, fix="name another file."
        ) from error


@contextlib.contextmanager
def whole_file(path: Path | str) -> Iterator[Path]:
    """The name of a file beside `path` to write; it replaces `path` at the end.

    If the block raises, `path` stays as it was and nothing is left beside it. Makes missing folders
    above `path`. Raises WriteError for an OSError, also one of the block, and for a device or a
    pipe, which is never replaced.
    """
    path = Path(path)
    if path.exists() and not (path.is_file() or path.is_dir()):
        raise WriteError("is not a file and is left as it is", place=path, fix="name a file.")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        _remove_rests(path.parent)
        rest = f".{os.getpid()}{_REST}"
        handle, beside = tempfile.mkstemp(prefix=f".{path.name}.", suffix=rest, dir=path.parent)
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
            f"cannot be written ({error.strerror or error})",
            place=path,
            fix="name a file that no"
            " other program has open, in a folder you may write to, on a disk with enough room.",
        ) from error


def write_whole(path: Path | str, content: bytes | str, *, replace: bool = True) -> None:
    """Write a file whole or not at all; makes the folders above it.

    Raises WriteError when the folder cannot be written to, or when `replace` is False and the
    file exists.
    """
    if not replace and Path(path).exists():
        raise WriteError(
            "the file exists and is left as it is", place=path, fix="name another file."
        )
    with whole_file(path) as beside:
        beside.write_bytes(content.encode() if isinstance(content, str) else content)


@contextlib.contextmanager
def whole_folder(folder: Path) -> Iterator[Path]:
    """A folder beside `folder` to fill; it becomes `folder` at the end, which must not hold files.

    If the block raises, nothing is left. Makes missing folders above `folder`. Raises WriteError
    if `folder` exists and is not empty, and for an OSError, also one of the block.
    """
    if folder.exists() and not (folder.is_dir() and not any(folder.iterdir())):
        raise WriteError(
            "exists and is left as it is", place=folder, fix="name a folder that does not exist."
        )
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        beside = Path(tempfile.mkdtemp(prefix=f".{folder.name}.", dir=folder.parent))
        try:
            yield beside
            beside.chmod(0o755)
            if folder.is_dir():
                folder.rmdir()  # if empty: not every system can rename onto it
            os.rename(beside, folder)
        finally:
            shutil.rmtree(beside, ignore_errors=True)
    except OSError as error:
        if isinstance(error, WriteError):
            raise
        raise WriteError(
            f"cannot be written ({error.strerror or error})",
            place=folder,
            fix="name a folder in one that you may write to.",
        ) from error


def _remove_rests(folder: Path) -> None:
    """Remove the unfinished files of processes that were killed while they wrote."""
    for rest in folder.glob(f".*{_REST}"):
        number = rest.name.removesuffix(_REST).rpartition(".")[2]
        if number.isdecimal() and int(number) != os.getpid():
            from psutil import pid_exists  # imported here: unfinished files are rare

            if not pid_exists(int(number)):
                with contextlib.suppress(OSError):
                    rest.unlink()
