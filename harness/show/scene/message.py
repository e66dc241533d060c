"""Messages between the show and a scene's process: requests one way, answers the other way.

A request is the time in s as a little-endian double. An answer is one byte for its kind, the length
of the rest as four bytes, little-endian, and the rest. Kinds: a picture of uint8 ('P') or float32
('L'), row after row; an error, why there is no picture now ('N') or what has ended the scene ('E'),
with 0 between its parts: problem, place, fix and traceback.
"""

from __future__ import annotations

import struct
from typing import IO

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Picture
from emulator.errors import SceneError, SourceError

_REQUEST = struct.Struct("<d")
_HEAD = struct.Struct("<cI")
_DTYPES: dict[bytes, type[np.uint8] | type[np.float32]] = {b"P": np.uint8, b"L": np.float32}
_NOT_NOW, _ERROR = b"N", b"E"
_MOST_TEXT = 1 << 16  # bytes; a longer text loses its beginning


def encode_request(time_s: float) -> bytes:
    """The request for the picture of a time."""
    return _REQUEST.pack(time_s)


def read_request(stream: IO[bytes]) -> float | None:
    """The time asked for; None at the end of the stream."""
    data = _exactly(stream, _REQUEST.size)
    return None if data is None else float(_REQUEST.unpack(data)[0])


def encode_picture(picture: NDArray[np.generic]) -> bytes:
    """The answer with a picture; any float becomes float32."""
    kind, array = (b"P", picture) if picture.dtype == np.uint8 else (b"L", picture.astype("<f4"))
    data = np.ascontiguousarray(array).tobytes()
    return _HEAD.pack(kind, len(data)) + data


def encode_trouble(error: SourceError | SceneError) -> bytes:
    """The answer with what is wrong."""
    kind, trace = (_ERROR, error.trace) if isinstance(error, SceneError) else (_NOT_NOW, "")
    text = "\0".join((error.problem, error.place, error.fix, trace))
    data = text.encode(errors="replace")[-_MOST_TEXT:]
    return _HEAD.pack(kind, len(data)) + data


def read_answer(stream: IO[bytes], shape: tuple[int, int, int]) -> Picture | None:
    """A picture of this shape; None at the end of the stream.

    Raises SourceError or SceneError, as the answer says, and SceneError for invalid data. It never
    reads more than the size of a picture.
    """
    head = _exactly(stream, _HEAD.size)
    if head is None:
        return None
    kind, length = _HEAD.unpack(head)
    if kind in _DTYPES:
        dtype = np.dtype(_DTYPES[kind]).newbyteorder("<")
        data = _exactly(stream, length) if length == np.prod(shape) * dtype.itemsize else None
        if data is not None:
            return np.frombuffer(data, dtype).reshape(shape)
    elif kind in (_NOT_NOW, _ERROR) and length <= _MOST_TEXT:
        text = (_exactly(stream, length) or b"").decode(errors="replace")
        problem, place, fix, trace = (*text.split("\0", 3), "", "", "")[:4]
        if kind == _NOT_NOW:
            raise SourceError(problem, place=place, fix=fix)
        raise SceneError(problem, place=place, fix=fix, trace=trace)
    raise SceneError(
        f"the scene's process sent no picture of {shape}",
        fix="load the same display file in both; write nothing to the answer pipe.",
    )


def _exactly(stream: IO[bytes], count: int) -> bytes | None:
    """`count` bytes; None if the stream ends before."""
    data = stream.read(count)
    return data if len(data) == count else None
