"""Files of captures as streams for every reader: unzipped, and text as UTF-8."""

from __future__ import annotations

import codecs
import contextlib
import gzip
import io
import zlib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO, cast

from emulator.errors import CaptureError
from emulator.files import check_file

if TYPE_CHECKING:
    from typing_extensions import Buffer  # collections.abc has it from Python 3.12 on

MOST_BYTES = 1 << 30  # of text, after decompression
AGAIN = (
    "export the capture again, as VCD (IEEE 1364-2001 §18), plain or gzipped; raw samples need "
    "--rate, and --bit or --packed"
)


def no_progress(done: int) -> None:
    """The `progress` that does nothing; done: how many bytes of a file have been read."""


@contextlib.contextmanager
def opened(path: Path | str) -> Iterator[tuple[BinaryIO, Callable[[], int]]]:
    """The content of a file, unzipped if it is gzipped, and a function for the bytes read so far.

    Raises CaptureError for every fault of the file, also inside the block.
    """
    name = str(path)
    try:
        check_file(path)
        with Path(path).open("rb") as raw:
            zipped = raw.read(2) == b"\x1f\x8b"
            raw.seek(0)
            if not zipped and name.endswith(".gz"):
                raise CaptureError(
                    "the name ends in .gz, but the content is not gzipped",
                    place=name,
                    fix=f"rename the file, or {AGAIN}.",
                )
            if zipped:
                with gzip.open(raw) as unzipped:
                    yield cast(BinaryIO, unzipped), raw.tell
            else:
                yield raw, raw.tell
    except (OSError, EOFError, zlib.error) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise CaptureError(
            f"cannot be read: {reason}", place=name, fix=f"check the path, or {AGAIN}."
        ) from error


def as_utf8(stream: BinaryIO) -> BinaryIO:
    """A stream at its beginning, without a byte order mark, and as UTF-8 if it is UTF-16."""
    head = stream.read(4)
    stream.seek(len(codecs.BOM_UTF8) if head.startswith(codecs.BOM_UTF8) else 0)
    if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return io.BufferedReader(_Recoded(stream, "utf-16"))
    for zeros, encoding in ((head[1::2], "utf-16-le"), (head[::2], "utf-16-be")):
        if zeros == b"\0\0" and head != b"\0\0\0\0":
            return io.BufferedReader(_Recoded(stream, encoding))
    return stream


class _Recoded(io.RawIOBase):
    """A stream of text in some encoding, read as UTF-8."""

    def __init__(self, stream: BinaryIO, encoding: str) -> None:
        self._stream, self._ready = stream, b""
        self._decoder = codecs.getincrementaldecoder(encoding)("replace")

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Buffer, /) -> int:
        view = memoryview(buffer)
        piece = b"."
        while piece and not self._ready:
            piece = self._stream.read(1 << 16)
            self._ready = self._decoder.decode(piece, final=not piece).encode()
        part, self._ready = self._ready[: len(view)], self._ready[len(view) :]
        view[: len(part)] = part
        return len(part)
